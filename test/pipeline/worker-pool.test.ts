import { describe, expect, it } from 'vitest';
import { answerJob, type CellAnswer, type CellJob } from '../../src/parallel/answer-jobs.js';
import { createWorkerPool, type WorkerPort } from '../../src/parallel/worker-pool.js';
import { makeRandom } from '../model/clock-synthetic.js';

type Answer = { value: unknown; isUnread?: boolean; problems: string[] } | { error: { code: string; message: string }; problems: string[] };

/** A worker that answers after a while of its own, job by job, in any order. */
function makePort(answer: (job: CellJob) => Answer, delay: () => number): WorkerPort & { jobs: number; breakDown(e: Error): void; closed: boolean } {
  let tell: (a: CellAnswer) => void = () => undefined;
  let fail: (e: Error) => void = () => undefined;
  return {
    jobs: 0, closed: false,
    send(job) { this.jobs++; setTimeout(() => { if (!this.closed) tell({ ...answer(job), id: job.id } as CellAnswer); }, delay()); },
    listen(onAnswer, onFailure) { tell = onAnswer; fail = onFailure; },
    close() { this.closed = true; },
    breakDown(e) { fail(e); },
  };
}
const echo = (job: CellJob): Answer => ({ value: job.argument, problems: [] });
const numbers = Array.from({ length: 40 }, (_, k) => k);

describe('a pool of workers', () => {
  it('gives results in the order of the tasks, whichever worker is faster', async () => {
    const { uniform } = makeRandom(2);
    const ports = [0, 1, 2].map((k) => makePort(echo, () => (1 + 4 * k) * uniform()));
    const pool = createWorkerPool(ports);
    let done = 0;
    expect(await pool.survey(numbers, () => { done++; })).toEqual(numbers);
    expect(done).toBe(40);
    expect(ports.every((p) => p.jobs > 0)).toBe(true);
    expect(ports.reduce((s, p) => s + p.jobs, 0)).toBe(40);
    expect(await pool.survey([], () => undefined)).toEqual([]);
    await pool.close();
    expect(ports.every((p) => p.closed)).toBe(true);
  });

  it('gives workers more than one job while many wait, and shares the last ones out', async () => {
    const ports = [0, 1].map(() => makePort(echo, () => 5));
    const pool = createWorkerPool(ports);
    const many = pool.survey(numbers, () => undefined);
    expect(ports.every((p) => p.jobs > 2)).toBe(true);
    expect(await many).toEqual(numbers);
    const before = ports.map((p) => p.jobs);
    const few = pool.survey([1, 2], () => undefined);
    expect(ports.map((p, k) => p.jobs - before[k])).toEqual([1, 1]);
    expect(await few).toEqual([1, 2]);
    await pool.close();
  });

  it('tells every problem once, sorted', async () => {
    const pool = createWorkerPool([0, 1].map(() => makePort((job) => ({ value: job.argument, problems: Number(job.argument) % 2 ? ['b.wav: bad', 'a.wav: bad'] : [] }), () => 1)));
    await pool.survey(numbers, () => undefined);
    expect(pool.problems).toEqual(['a.wav: bad', 'b.wav: bad']);
    await pool.close();
  });

  it('tells for which jobs a recording could not be read', async () => {
    const pool = createWorkerPool([makePort((job) => ({ value: job.argument, isUnread: job.argument === 2, problems: [] }), () => 1)]);
    const told: boolean[] = [];
    await pool.survey([1, 2, 3], (isUnread) => { told.push(isUnread === true); });
    expect(told).toEqual([false, true, false]);
    await pool.close();
  });

  it('passes a refusal on with its code', async () => {
    const pool = createWorkerPool([makePort(() => ({ error: { code: 'not-fit', message: 'nothing to do' }, problems: [] }), () => 1)]);
    await expect(pool.survey([1], () => undefined)).rejects.toMatchObject({ code: 'not-fit', message: 'nothing to do' });
    await pool.close();
  });

  it('ends with the error of a worker that breaks down: nothing hangs, before or after', async () => {
    const ports = [0, 1].map(() => makePort(echo, () => 50));
    const pool = createWorkerPool(ports);
    const running = pool.survey(numbers, () => undefined);
    ports[1].breakDown(new Error('out of memory'));
    await expect(running).rejects.toThrow('out of memory');
    await expect(pool.survey([1], () => undefined)).rejects.toThrow('out of memory');
    await pool.close();
  });

  it('rejects what was not done when it is closed', async () => {
    const pool = createWorkerPool([makePort(echo, () => 1000)]);
    const running = pool.survey(numbers, () => undefined);
    await Promise.all([expect(running).rejects.toMatchObject({ code: 'interrupted' }), pool.close()]);
  });
});

it('a worker that cannot open the study answers so', async () => {
  const answer = await answerJob(Promise.reject(new Error('gone')), { id: 7, kind: 'survey', argument: 0 });
  expect(answer).toEqual({ id: 7, error: { code: 'internal', message: 'gone' }, problems: [] });
});
