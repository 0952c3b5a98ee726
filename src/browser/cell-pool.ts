import type { FileStudy } from './open-files.js';
import type { CellAnswer } from '../parallel/answer-jobs.js';
import { createWorkerPool, type WorkerPool, type WorkerPort } from '../parallel/worker-pool.js';
import { planStudy } from '../pipeline/plan-study.js';
import { VolaryError } from '../schema/errors.js';
import type { CellWorkerStart } from './cell-worker.js';

/** Web Workers that read slices of the files for themselves and do the cells of a study; `makeWorker` where cell-worker.js does not lie beside this module. */
export function createBrowserPool(kernels: WebAssembly.Module, study: FileStudy, workerCount: number, makeWorker?: () => Worker): WorkerPool {
  const { settings, plan } = planStudy(study.timeline, study.manifest);
  const start: CellWorkerStart = { kernels, timeline: study.timeline, settings, plan, files: new Map(study.files) };
  return createWorkerPool(Array.from({ length: workerCount }, () => startWorker(start, makeWorker)));
}

function startWorker(start: CellWorkerStart, makeWorker?: () => Worker): WorkerPort {
  // Written in one piece, so that bundlers find the worker.
  const worker = makeWorker?.() ?? new Worker(new URL('./cell-worker.js', import.meta.url), { type: 'module' });
  worker.postMessage(start);
  return {
    send: (job) => worker.postMessage(job),
    listen(onAnswer, onFailure) {
      worker.addEventListener('message', (e: MessageEvent<CellAnswer>) => onAnswer(e.data));
      worker.addEventListener('error', (e) => {
        e.preventDefault();
        onFailure(new VolaryError('internal', { what: 'a worker stopped', got: e.message || 'it could not be loaded', mend: 'serve cell-worker.js beside this module, or set workers to 0' }));
      });
      worker.addEventListener('messageerror', () => onFailure(new VolaryError('internal', { what: 'a message of a worker could not be read' })));
    },
    close: () => worker.terminate(),
  };
}
