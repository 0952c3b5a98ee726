// Trains forests in worker threads, a few at a time: the same forests as one after the other.
import { availableParallelism } from 'node:os';
import { isMainThread, parentPort, Worker } from 'node:worker_threads';
import { binFeatures, trainOnBins } from './train-forest.mjs';

/** @param jobs functions that make { rows, labels, features, options }: called when a thread is free, so that few rows are held twice */
export async function trainSideBySide(jobs) {
  const forests = new Array(jobs.length);
  let next = 0;
  const work = async () => {
    while (next < jobs.length) {
      const k = next++;
      const { rows, labels, features, options } = jobs[k]();
      forests[k] = await runThread({ bins: binFeatures(rows, features.length), count: rows.length, labels: Uint8Array.from(labels), features, options });
    }
  };
  await Promise.all(Array.from({ length: Math.min(jobs.length, availableParallelism()) }, work));
  return forests;
}

function runThread(job) {
  return new Promise((resolve, reject) => {
    const worker = new Worker(new URL(import.meta.url));
    worker.once('message', (forest) => { resolve(forest); void worker.terminate(); });
    worker.once('error', reject);
    worker.postMessage(job);
  });
}

if (!isMainThread) parentPort.once('message', ({ bins, count, labels, features, options }) => parentPort.postMessage(trainOnBins(bins, count, labels, features, options)));
