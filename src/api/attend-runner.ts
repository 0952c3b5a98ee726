import type { CellRunner } from '../pipeline/calibrate.js';
import { VolaryError } from '../schema/errors.js';

/** @throws VolaryError 'interrupted' once the signal was aborted; its cause is the signal's reason */
export function requireNotAborted(signal: AbortSignal | undefined): void {
  if (signal?.aborted) throw describeAbort(signal);
}

/**
 * A runner that works in this thread and lets others have it between the jobs: a page stays alive, timers fire, and a signal is heard.
 * @throws VolaryError 'interrupted' from its jobs once the signal was aborted
 */
export function pauseBetweenJobs(runner: CellRunner, signal?: AbortSignal): CellRunner {
  const each = async <A, B>(items: A[], job: (item: A) => Promise<B[]>): Promise<B[]> => {
    const out: B[] = [];
    for (const item of items) {
      await new Promise((resolve) => { setTimeout(resolve, 0); });
      requireNotAborted(signal);
      out.push(...(await job(item)));
    }
    return out;
  };
  return {
    survey: (cells, onDone) => each(cells, (cell) => runner.survey([cell], onDone)),
    extract: (tasks, onDone) => each(tasks, (task) => runner.extract([task], onDone)),
    listen: (tasks, onDone) => each(tasks, (task) => runner.listen([task], onDone)),
  };
}

/**
 * A runner whose jobs run elsewhere and are no longer waited for once the signal was aborted; stopping them is the caller's work.
 * @throws VolaryError 'interrupted' from its jobs
 */
export function leaveOnAbort(runner: CellRunner, signal?: AbortSignal): CellRunner {
  if (!signal) return runner;
  const race = async <T>(start: () => Promise<T>): Promise<T> => {
    requireNotAborted(signal);
    let stop = (): void => undefined;
    const aborted = new Promise<never>((_, reject) => {
      stop = () => reject(describeAbort(signal));
      signal.addEventListener('abort', stop, { once: true });
    });
    try {
      return await Promise.race([start(), aborted]);
    } finally {
      signal.removeEventListener('abort', stop);
    }
  };
  return {
    survey: (cells, onDone) => race(() => runner.survey(cells, onDone)),
    extract: (tasks, onDone) => race(() => runner.extract(tasks, onDone)),
    listen: (tasks, onDone) => race(() => runner.listen(tasks, onDone)),
  };
}

function describeAbort(signal: AbortSignal): VolaryError {
  return new VolaryError('interrupted', { what: 'stopped as asked' }, { cause: signal.reason });
}
