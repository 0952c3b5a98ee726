import { Worker } from 'node:worker_threads';
import { VolaryError } from '../schema/errors.js';
import type { CellRunner } from '../pipeline/gather-evidence.js';

export interface CellPool extends CellRunner {
  /** Files that failed while being read, one line each. */
  readonly problems: string[];
  close(): Promise<void>;
}

interface Job { kind: 'survey' | 'extract'; argument: unknown; resolve: (value: never) => void; reject: (error: Error) => void }

/**
 * Worker threads that each open the study for themselves and do its cells; results are handed back in the order of the tasks, so the number of
 * workers changes nothing but the time.
 */
export function createCellPool(manifestPath: string, workerCount: number): CellPool {
  const queue: Job[] = [];
  const idle: Worker[] = [];
  const busy = new Map<Worker, Job>();
  const problems = new Set<string>();
  let failure: Error | null = null;
  const workers = Array.from({ length: workerCount }, () => {
    const worker = new Worker(new URL('./cell-thread.js', import.meta.url), { workerData: { manifestPath } });
    worker.on('message', (m: { value?: unknown; error?: { code: string; message: string }; problems: string[] }) => {
      const job = busy.get(worker)!;
      busy.delete(worker);
      for (const p of m.problems) problems.add(p);
      if (m.error) job.reject(new VolaryError(m.error.code as 'internal', { what: m.error.message }));
      else job.resolve(m.value as never);
      idle.push(worker);
      feed();
    });
    worker.on('error', (e) => fail(e instanceof Error ? e : new Error(String(e))));
    idle.push(worker);
    return worker;
  });
  function fail(error: Error): void {
    failure = error;
    for (const job of [...busy.values(), ...queue.splice(0)]) job.reject(error);
    busy.clear();
  }
  function feed(): void {
    while (idle.length && queue.length) {
      const worker = idle.pop()!;
      const job = queue.shift()!;
      busy.set(worker, job);
      worker.postMessage({ kind: job.kind, argument: job.argument });
    }
  }
  const run = <T>(kind: Job['kind'], items: readonly unknown[], onDone: () => void): Promise<T[]> => Promise.all(items.map((argument) => new Promise<T>((resolve, reject) => {
    if (failure) { reject(failure); return; }
    queue.push({ kind, argument, resolve: (v) => { onDone(); resolve(v); }, reject });
    feed();
  })));
  return {
    survey: (cells, onDone) => run('survey', cells, onDone),
    extract: (tasks, onDone) => run('extract', tasks, onDone),
    get problems() { return [...problems].sort(); },
    close: async () => { await Promise.all(workers.map((w) => w.terminate())); },
  };
}
