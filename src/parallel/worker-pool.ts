import { VolaryError, type ErrorCode } from '../schema/errors.js';
import type { CellRunner } from '../pipeline/calibrate.js';
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

interface PendingJob { job: CellJob; resolve: (value: never) => void; reject: (error: Error) => void }

/**
 * Hands jobs to whichever worker is free. Results come back in the order of the tasks, so the number of workers changes nothing but the
 * time. A worker that breaks down ends the whole run with its error.
 */
export function createWorkerPool(ports: readonly WorkerPort[]): WorkerPool {
  const queue: PendingJob[] = [];
  const idle: WorkerPort[] = [];
  const busy = new Map<WorkerPort, PendingJob>();
  const problems = new Set<string>();
  let failure: Error | undefined;
  const fail = (error: Error): void => {
    failure ??= error;
    for (const pending of [...busy.values(), ...queue.splice(0)]) pending.reject(error);
    busy.clear();
  };
  const feed = (): void => {
    while (idle.length > 0 && queue.length > 0) {
      const port = idle.pop()!;
      const pending = queue.shift()!;
      busy.set(port, pending);
      port.send(pending.job);
    }
  };
  for (const port of ports) {
    port.listen((answer) => {
      const pending = busy.get(port);
      if (!pending) return;
      busy.delete(port);
      for (const p of answer.problems) problems.add(p);
      if ('error' in answer) pending.reject(new VolaryError(answer.error.code as ErrorCode, { what: answer.error.message }));
      else pending.resolve(answer.value as never);
      idle.push(port);
      feed();
    }, fail);
    idle.push(port);
  }
  const run = <T>(jobs: readonly CellJob[], onDone: () => void): Promise<T[]> => Promise.all(jobs.map((job) => new Promise<T>((resolve, reject) => {
    if (failure) return reject(failure);
    queue.push({ job, resolve: (v) => { onDone(); resolve(v); }, reject });
    feed();
  })));
  return {
    survey: (cells, onDone) => run(cells.map((argument): CellJob => ({ kind: 'survey', argument })), onDone),
    extract: (tasks, onDone) => run(tasks.map((argument): CellJob => ({ kind: 'extract', argument })), onDone),
    get problems() { return [...problems].sort(); },
    close: async () => {
      fail(new VolaryError('interrupted', { what: 'the workers were stopped' }));
      await Promise.all(ports.map((p) => p.close()));
    },
  };
}
