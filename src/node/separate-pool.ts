import { Worker } from 'node:worker_threads';
import { createBlockQueue } from '../parallel/block-queue.js';
import type { BlockAnswer, BlockPort } from '../parallel/block-queue.js';
import { EditViews } from '../parallel/edit-memory.js';
import type { BlockEdits } from '../separate/separate-piece.js';
import type { BlockRunner } from '../separate/separate-tracks.js';
import { YOUNG_MB } from './cell-pool.js';
import type { SeparationTask } from './separation-input.js';
import type { ThreadAnswer } from './separate-thread.js';

export interface SeparatePool extends BlockRunner {
  /** Files that failed in a worker, one line each. */
  readonly problems: ReadonlySet<string>;
  close(): Promise<void>;
}

/** Worker threads that each open the study for themselves and work out its blocks. Close it even after an error. */
export function createSeparatePool(manifestPath: string, task: SeparationTask, workerCount: number): SeparatePool {
  const problems = new Set<string>(), queue = createBlockQueue(Array.from({ length: workerCount }, () => startThread(manifestPath, task, problems)));
  return { width: workerCount + 1, problems, separate: (blockIndex) => queue.run(blockIndex), close: () => queue.close() };
}

function startThread(manifestPath: string, task: SeparationTask, problems: Set<string>): BlockPort<BlockEdits> {
  const views = new EditViews();
  const worker = new Worker(new URL('./separate-thread.js', import.meta.url), { workerData: { manifestPath, task }, resourceLimits: { maxYoungGenerationSizeMb: YOUNG_MB } });
  return {
    send: (blockIndex) => worker.postMessage({ blockIndex, freed: views.takeFreed() }),
    listen(onAnswer, onFailure) {
      worker.on('message', (answer: BlockAnswer<ThreadAnswer>) => {
        if (!('value' in answer)) return onAnswer(answer);
        for (const p of answer.value.problems) problems.add(p);
        onAnswer({ value: views.open(answer.value) });
      });
      worker.on('error', (e) => onFailure(e instanceof Error ? e : new Error(String(e))));
    },
    close: () => worker.terminate(),
  };
}
