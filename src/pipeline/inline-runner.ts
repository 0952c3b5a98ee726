import type { CellWorker } from './cell-work.js';
import type { CellRunner } from './calibrate.js';
import type { TellCell } from './checkpoint.js';

/** Runs the jobs one after the other in this thread. */
export function createInlineRunner(worker: CellWorker): CellRunner {
  const each = async <A, B>(items: A[], job: (item: A, onUnread: () => void) => Promise<B>, onDone: TellCell): Promise<B[]> => {
    const out: B[] = [];
    for (const item of items) {
      let isUnread = false;
      out.push(await job(item, () => { isUnread = true; }));
      onDone(isUnread);
    }
    return out;
  };
  return {
    survey: (cells, onDone) => each(cells, (k, onUnread) => worker.survey(k, onUnread), onDone),
    extract: (tasks, onDone) => each(tasks, (t, onUnread) => worker.extract(t, onUnread), onDone),
    listen: (tasks, onDone) => each(tasks, (t, onUnread) => worker.listen(t, onUnread), onDone),
  };
}
