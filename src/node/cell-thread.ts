/** One worker thread of the pool: does the cells of a study that it is sent. */
import { parentPort, workerData } from 'node:worker_threads';
import { answerJob, listTransfers, type CellJob, type OpenedCells } from '../parallel/answer-jobs.js';
import { planStudy } from '../pipeline/plan-study.js';
import { CellWorker } from '../pipeline/cell-work.js';
import { StudyAudio } from '../study/study-audio.js';
import type { CellThreadStart } from './cell-pool.js';
import { loadKernelsFile } from './kernels-file.js';
import { openFilesIn } from './study-files.js';

const { folder, manifest, timeline, kernels } = workerData as CellThreadStart;

async function open(): Promise<OpenedCells> {
  const audio = new StudyAudio(timeline, openFilesIn(folder, { isBlocking: true }));
  const { settings, plan } = planStudy(timeline, manifest);
  return { audio, worker: new CellWorker(await loadKernelsFile(kernels), audio, settings, plan) };
}

const opened = open();
opened.catch(() => undefined);

parentPort!.on('message', (job: CellJob) => {
  void answerJob(opened, job).then((answer) => parentPort!.postMessage(answer, listTransfers(answer)));
});
