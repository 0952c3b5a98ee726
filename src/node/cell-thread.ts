/** One worker thread of the pool: opens the study, then does the cells it is sent. */
import { parentPort, workerData } from 'node:worker_threads';
import { planStudy } from '../pipeline/attribute-study.js';
import { CellWorker, type ExtractTask } from '../pipeline/cell-work.js';
import { VolaryError } from '../schema/errors.js';
import { StudyAudio } from '../study/study-audio.js';
import { loadKernelsFile } from './kernels-file.js';
import { loadStudy } from './study-files.js';

const { manifestPath } = workerData as { manifestPath: string };

async function open(): Promise<{ worker: CellWorker; audio: StudyAudio }> {
  const study = await loadStudy(manifestPath);
  const audio = new StudyAudio(study.timeline, study.openReader);
  const { settings, plan } = planStudy(study.timeline, study.manifest);
  return { audio, worker: new CellWorker(await loadKernelsFile(), audio, settings, plan) };
}

const opened = open();
opened.catch(() => undefined);

parentPort!.on('message', (m: { kind: 'survey'; argument: number } | { kind: 'extract'; argument: ExtractTask }) => {
  void (async () => {
    try {
      const { worker, audio } = await opened;
      const value = m.kind === 'survey' ? await worker.survey(m.argument) : await worker.extract(m.argument);
      parentPort!.postMessage({ value, problems: audio.problems.map((p) => p.text) });
    } catch (error) {
      const code = error instanceof VolaryError ? error.code : 'internal';
      parentPort!.postMessage({ error: { code, message: error instanceof Error ? error.message : String(error) }, problems: [] });
    }
  })();
});
