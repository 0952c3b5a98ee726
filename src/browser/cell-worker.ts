/** One Web Worker of the pool: gets the study's files once, then does the cells it is sent. */
import { answerJob, listTransfers, type CellJob, type OpenedCells } from '../parallel/answer-jobs.js';
import { openAudio } from '../audio/open-audio.js';
import type { AnalysisSettings } from '../evidence/settings.js';
import { CellWorker } from '../pipeline/cell-work.js';
import type { CellPlan } from '../pipeline/cells.js';
import { StudyAudio } from '../study/study-audio.js';
import type { Timeline } from '../study/timeline.js';
import { createBlobSource } from './blob-source.js';

/** The first message to a worker; all others are jobs. */
export interface CellWorkerStart {
  kernels: WebAssembly.Module;
  timeline: Timeline;
  settings: AnalysisSettings;
  plan: CellPlan;
  files: Map<string, Blob>;
}

let opened: Promise<OpenedCells> | undefined;

function openCells(start: CellWorkerStart): OpenedCells {
  const audio = new StudyAudio(start.timeline, (path) => openAudio(createBlobSource(start.files.get(path)!, path)));
  return { audio, worker: new CellWorker(start.kernels, audio, start.settings, start.plan) };
}

addEventListener('message', (e: MessageEvent<CellWorkerStart | CellJob>) => {
  const message = e.data;
  if ('kernels' in message) {
    opened = new Promise((resolve) => { resolve(openCells(message)); });
    opened.catch(() => undefined);
  } else {
    void answerJob(opened!, message).then((answer) => { postMessage(answer, { transfer: listTransfers(answer) }); });
  }
});
