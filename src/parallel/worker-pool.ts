import { VolaryError, type ErrorCode } from '../schema/errors.js';
import type { CellRunner } from '../pipeline/calibrate.js';
import type { TellCell } from '../pipeline/checkpoint.js';
import type { CellAnswer, CellJob } from './answer-jobs.js';

/** A worker as the pool sees it, be it a thread of Node or a Web Worker. */
export interface WorkerPort {
  send(job: CellJob): void;
  /** Sets who is told of every answer, and of a failure of the worker itself. */
  listen(onAnswer: (answer: CellAnswer) => void, onFailure: (error: Error) => void): void;
  close(): void | Promise<unknown>;
}

export interface WorkerPool extends CellRunner {
  /** Files that failed while being read, one line each, sorted. */
  readonly problems: string[];
  /** Stops all workers at once; jobs that were not done are rejected. */
  close(): Promise<void>;
}

interface PendingJob { job: CellJob; resolve: (value: never, isUnread: boolean) => void; reject: (error: Error) => void }

/** Most jobs that one worker holds: enough for it to go on while this thread decides a chunk. */
const MOST_HELD = 24;

/**
 * Hands jobs to the workers, the more at a time the more are waiting, so that nobody idles while this thread is busy nor waits for the others at
 * the end. Results come back in the order of the tasks, so the number of workers changes nothing but the time. A worker that breaks down
 * ends the whole run with its error.
 */
export function createWorkerPool(ports: readonly WorkerPort[]): WorkerPool {
  const queue: PendingJob[] = [];
  const held = ports.map(() => new Map<number, PendingJob>());
  const problems = new Set<string>();
  let nextId = 0;
  let failure: Error | undefined;
  const fail = (error: Error): void => {
    failure ??= error;
    for (const pending of [...held.flatMap((h) => [...h.values()]), ...queue.splice(0)]) pending.reject(error);
    for (const h of held) h.clear();
  };
  const feed = (): void => {
    while (queue.length > 0) {
      const least = held.reduce((best, h, k) => (h.size < held[best].size ? k : best), 0);
      if (held[least].size >= Math.min(MOST_HELD, 1 + Math.floor(queue.length / (2 * ports.length)))) return;
      const pending = queue.shift()!;
      held[least].set(pending.job.id, pending);
      ports[least].send(pending.job);
    }
  };
  ports.forEach((port, k) => {
    port.listen((answer) => {
      const pending = held[k].get(answer.id);
      if (!pending) return;
      held[k].delete(answer.id);
      for (const p of answer.problems) problems.add(p);
      if ('error' in answer) pending.reject(new VolaryError(answer.error.code as ErrorCode, { what: answer.error.message }));
      else pending.resolve(answer.value as never, answer.isUnread);
      feed();
    }, fail);
  });
  const run = <T>(jobs: readonly CellJob[], onDone: TellCell): Promise<T[]> => {
    const all = Promise.all(jobs.map((job) => new Promise<T>((resolve, reject) => {
      if (failure) return reject(failure);
      queue.push({ job, resolve: (v, isUnread) => { onDone(isUnread); resolve(v); }, reject });
    })));
    feed();
    return all;
  };
  return {
    survey: (cells, onDone) => run(cells.map((argument): CellJob => ({ id: nextId++, kind: 'survey', argument })), onDone),
    extract: (tasks, onDone) => run(tasks.map((argument): CellJob => ({ id: nextId++, kind: 'extract', argument })), onDone),
    listen: (tasks, onDone) => run(tasks.map((argument): CellJob => ({ id: nextId++, kind: 'listen', argument })), onDone),
    get problems() { return [...problems].sort(); },
    close: async () => {
      fail(new VolaryError('interrupted', { what: 'the workers were stopped' }));
      await Promise.all(ports.map((p) => p.close()));
    },
  };
}
