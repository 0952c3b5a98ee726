import { resolve } from 'node:path';
import { Worker } from 'node:worker_threads';
import { createWorkerPool, type WorkerPool, type WorkerPort } from '../parallel/worker-pool.js';
import type { StudyManifest } from '../study/manifest.js';
import type { Timeline } from '../study/timeline.js';
import { requireKernels, type KernelKind } from './kernels-file.js';
import type { StudyOnDisk } from './study-files.js';

/** What a thread is started with: the study as the main thread read it. Headers are not read anew, for a file that fails just then would be missing without a word. */
export interface CellThreadStart { folder: string; manifest: StudyManifest; timeline: Timeline; kernels: KernelKind }

/** Worker threads that each open the files of a study for themselves and do its cells. */
export function createCellPool({ folder, manifest, timeline }: StudyOnDisk, workerCount: number, kernels: KernelKind = 'plain'): WorkerPool {
  requireKernels(kernels);
  const start: CellThreadStart = { folder: resolve(folder), manifest, timeline, kernels };
  return createWorkerPool(Array.from({ length: workerCount }, () => startThread(start)));
}

/**
 * Young objects of a worker thread. What it makes in a job is gone soon after: V8's usual 48 MB for young objects in every thread give nothing (measured: the same processor time
 * with 6 MB, 35 MiB less per worker).
 */
export const YOUNG_MB = 6;

function startThread(start: CellThreadStart): WorkerPort {
  const worker = new Worker(new URL('./cell-thread.js', import.meta.url), { workerData: start, resourceLimits: { maxYoungGenerationSizeMb: YOUNG_MB } });
  return {
    send: (job) => worker.postMessage(job),
    listen(onAnswer, onFailure) {
      worker.on('message', onAnswer);
      worker.on('error', (e) => onFailure(e instanceof Error ? e : new Error(String(e))));
    },
    close: () => worker.terminate(),
  };
}
