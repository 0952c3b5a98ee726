/** One worker thread of the pool: opens the study, then does the cells it is sent. */
import { parentPort, workerData } from 'node:worker_threads';
import { answerJob, listTransfers, type CellJob, type OpenedCells } from '../parallel/answer-jobs.js';
import { planStudy } from '../pipeline/plan-study.js';
import { CellWorker } from '../pipeline/cell-work.js';
import { StudyAudio } from '../study/study-audio.js';
import { loadKernelsFile, type KernelKind } from './kernels-file.js';
import { loadStudy } from './study-files.js';

const { manifestPath, kernels } = workerData as { manifestPath: string; kernels: KernelKind };

async function open(): Promise<OpenedCells> {
  const study = await loadStudy(manifestPath, undefined, { isBlocking: true });
  const audio = new StudyAudio(study.timeline, study.openReader);
  const { settings, plan } = planStudy(study.timeline, study.manifest);
  return { audio, worker: new CellWorker(await loadKernelsFile(kernels), audio, settings, plan) };
}

const opened = open();
opened.catch(() => undefined);

parentPort!.on('message', (job: CellJob) => {
  void answerJob(opened, job).then((answer) => parentPort!.postMessage(answer, listTransfers(answer)));
});
