import { Worker } from 'node:worker_threads';
import { createWorkerPool, type WorkerPool, type WorkerPort } from '../parallel/worker-pool.js';

/** Worker threads that each open the study for themselves and do its cells. */
export function createCellPool(manifestPath: string, workerCount: number): WorkerPool {
  return createWorkerPool(Array.from({ length: workerCount }, () => startThread(manifestPath)));
}

function startThread(manifestPath: string): WorkerPort {
  const worker = new Worker(new URL('./cell-thread.js', import.meta.url), { workerData: { manifestPath } });
  return {
    send: (job) => worker.postMessage(job),
    listen(onAnswer, onFailure) {
      worker.on('message', onAnswer);
      worker.on('error', (e) => onFailure(e instanceof Error ? e : new Error(String(e))));
    },
    close: () => worker.terminate(),
  };
}
