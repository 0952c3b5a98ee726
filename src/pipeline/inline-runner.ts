import type { CellWorker } from './cell-work.js';
import type { CellRunner } from './calibrate.js';

/** Runs the jobs one after the other in this thread. */
export function createInlineRunner(worker: CellWorker): CellRunner {
  const each = async <A, B>(items: A[], job: (item: A) => Promise<B>, onDone: () => void): Promise<B[]> => {
    const out: B[] = [];
    for (const item of items) {
      out.push(await job(item));
      onDone();
    }
    return out;
  };
  return {
    survey: (cells, onDone) => each(cells, (k) => worker.survey(k), onDone),
    extract: (tasks, onDone) => each(tasks, (t) => worker.extract(t), onDone),
    listen: (tasks, onDone) => each(tasks, (t) => worker.listen(t), onDone),
  };
}
