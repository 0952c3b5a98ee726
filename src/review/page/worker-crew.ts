import type { WorkerAnswer, WorkerJob, WorkerResults, WorkerStart } from './worker-messages.js';

interface Waiting { job: WorkerJob; key?: string; urgency: number; resolve(value: never): void; reject(error: Error): void }

/** Thrown to whoever asked for a tile that nobody looks at any more. */
export class Dropped extends Error {}

/** The page's workers: the most urgent job first; jobs with a key can be dropped while they wait. */
export class WorkerCrew {
  private readonly idle: Worker[] = [];
  private readonly busy = new Map<Worker, Waiting>();
  private readonly waiting: Waiting[] = [];
  private readonly workers: Worker[];
  private nextId = 0;

  constructor(source: string, start: WorkerStart, count: number) {
    const url = URL.createObjectURL(new Blob([source], { type: 'text/javascript' }));
    this.workers = Array.from({ length: count }, () => {
      const worker = new Worker(url);
      worker.postMessage(start);
      worker.addEventListener('message', (e: MessageEvent<WorkerAnswer>) => this.settle(worker, e.data));
      worker.addEventListener('error', (e) => {
        e.preventDefault();
        this.settle(worker, { id: -1, failure: e.message || 'a worker stopped' });
      });
      this.idle.push(worker);
      return worker;
    });
  }

  /** Runs a job; lower urgency numbers go first. */
  run<J extends WorkerJob>(job: J, urgency = 0, key?: string): Promise<WorkerResults[J['kind']]> {
    return new Promise((resolve, reject) => {
      this.waiting.push({ job, key, urgency, resolve, reject });
      this.pump();
    });
  }

  /** Drops keyed jobs that still wait and are not wanted; sets the urgency of the others. */
  reorder(urgencyOf: (key: string) => number | undefined): void {
    for (let i = this.waiting.length - 1; i >= 0; i--) {
      const { key } = this.waiting[i];
      if (key === undefined) continue;
      const urgency = urgencyOf(key);
      if (urgency === undefined) this.waiting.splice(i, 1)[0].reject(new Dropped());
      else this.waiting[i].urgency = urgency;
    }
  }

  close(): void {
    for (const worker of this.workers) worker.terminate();
  }

  private pump(): void {
    while (this.idle.length && this.waiting.length) {
      let best = 0;
      this.waiting.forEach((w, i) => { if (w.urgency < this.waiting[best].urgency) best = i; });
      const next = this.waiting.splice(best, 1)[0];
      const worker = this.idle.pop()!;
      this.busy.set(worker, next);
      worker.postMessage({ id: this.nextId++, job: next.job });
    }
  }

  private settle(worker: Worker, answer: WorkerAnswer): void {
    const done = this.busy.get(worker);
    this.busy.delete(worker);
    this.idle.push(worker);
    if (done) {
      if ('failure' in answer) done.reject(new Error(answer.failure));
      else done.resolve(answer.value as never);
    }
    this.pump();
  }
}
