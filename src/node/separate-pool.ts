import { Worker } from 'node:worker_threads';
import { createBlockQueue } from '../parallel/block-queue.js';
import type { BlockAnswer, BlockPort } from '../parallel/block-queue.js';
import { EditViews } from '../parallel/edit-memory.js';
import type { PlacedEdits } from '../parallel/edit-memory.js';
import type { BlockEdits } from '../separate/separate-piece.js';
import type { BlockRunner } from '../separate/separate-tracks.js';
import type { SeparationTask } from './separation-input.js';

export interface SeparatePool extends BlockRunner { close(): Promise<void> }

/** Worker threads that each open the study for themselves and work out its blocks. Close it even after an error. */
export function createSeparatePool(manifestPath: string, task: SeparationTask, workerCount: number): SeparatePool {
  const queue = createBlockQueue(Array.from({ length: workerCount }, () => startThread(manifestPath, task)));
  return { width: workerCount + 1, separate: (blockIndex) => queue.run(blockIndex), close: () => queue.close() };
}

function startThread(manifestPath: string, task: SeparationTask): BlockPort<BlockEdits> {
  const views = new EditViews();
  const worker = new Worker(new URL('./separate-thread.js', import.meta.url), { workerData: { manifestPath, task } });
  return {
    send: (blockIndex) => worker.postMessage({ blockIndex, freed: views.takeFreed() }),
    listen(onAnswer, onFailure) {
      worker.on('message', (answer: BlockAnswer<PlacedEdits>) => onAnswer('value' in answer ? { value: views.open(answer.value) } : answer));
      worker.on('error', (e) => onFailure(e instanceof Error ? e : new Error(String(e))));
    },
    close: () => worker.terminate(),
  };
}
