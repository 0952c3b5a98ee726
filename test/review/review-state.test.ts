import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest';
import type { CallRow } from '../../src/schema/rows.js';
import { MOST_BODY_BYTES, MOST_CHANGES, parseChanges } from '../../src/review/labels.js';
import type { LabelEntry } from '../../src/review/labels.js';
import { ReviewState } from '../../src/review/page/review-state.js';
import { Refusal } from '../../src/review/page/save-queue.js';
import type { Batch } from '../../src/review/page/save-queue.js';
import type { ReviewSource } from '../../src/review/page/source.js';
import { splitChanges } from '../../src/review/split-changes.js';

const makeCalls = (count: number): CallRow[] => Array.from({ length: count }, (_, k) => ({
  callId: k + 1, bird: 'blue', onsetSec: k, offsetSec: k + 0.5, onsetUtc: '', probability: 0.9, track: 'blue', levelDb: -20, snrDb: 30, peakHz: 2000, overlaps: 0, runnerUp: '', runnerUpProbability: 0,
}));

const label = (bird: string) => ({ bird, onsetSec: 1, offsetSec: 2, kind: 'call' as const, track: 'blue', note: '' });

/** A journal that windows share. What is sent waits in `sent` for an answer; what is written reaches a window when `deliver` says so. */
class FakeJournal {
  readonly entries: LabelEntry[] = [];
  readonly sent: { window: string; batch: Batch; answer: (error?: Error) => void }[] = [];
  private readonly windows: { state: ReviewState; last: number; tell: (entry: LabelEntry) => void; link: (isUp: boolean) => void }[] = [];

  constructor(private readonly calls = makeCalls(4)) {}

  open(): ReviewState {
    const window = { last: this.entries.length } as (typeof this.windows)[number];
    const source = {
      info: { tracks: [{ bird: 'blue' }, { bird: 'green' }] }, calls: this.calls, sample: [], entries: [...this.entries],
      save: (name: string, batch: Batch) => new Promise<void>((done, fail) => { this.sent.push({ window: name, batch, answer: (error) => (error ? fail(error) : done()) }); }),
      listen: (tell: (entry: LabelEntry) => void, link: (isUp: boolean) => void) => Object.assign(window, { tell, link }),
    } as unknown as ReviewSource;
    window.state = new ReviewState(source);
    this.windows.push(window);
    return window.state;
  }

  /** Writes what was sent first and tells every window of it. */
  async accept(at = 0): Promise<void> {
    this.write(at).answer();
    this.deliver();
    await flush();
  }

  write(at = 0): (typeof this.sent)[number] {
    const [request] = this.sent.splice(at, 1);
    this.entries.push({ n: this.entries.length + 1, utc: '', window: request.window, serial: request.batch.serial, changes: request.batch.changes });
    return request;
  }

  deliver(): void {
    for (const w of this.windows) for (; w.last < this.entries.length; w.last++) w.tell(this.entries[w.last]);
  }

  async fail(error = new Error('the review does not answer'), at = 0): Promise<void> {
    this.sent.splice(at, 1)[0].answer(error);
    await flush();
  }

  link(isUp: boolean): void {
    for (const w of this.windows) w.link(isUp);
  }

  get written(): string[] {
    return this.entries.flatMap((e) => e.changes.map((c) => `${c.id} ${c.label?.bird ?? 'taken back'}`));
  }
}

const flush = async (): Promise<void> => { for (let k = 0; k < 10; k++) await Promise.resolve(); };
const birdOf = (state: ReviewState, id: string): string => state.get(id)!.bird;

beforeEach(() => { vi.useFakeTimers(); });
afterEach(() => { vi.useRealTimers(); });

describe('answers on their way to the disk', () => {
  it('go in order: one that failed is held and sent again before anything later, at once with the next answer', async () => {
    const journal = new FakeJournal();
    const state = journal.open();
    state.change([{ id: 'c1', label: label('green') }], 'first');
    await journal.fail();
    expect([state.failure, state.unsaved, state.savedCount]).toEqual(['the review does not answer', 1, 0]);
    expect(journal.sent).toHaveLength(0);
    state.change([{ id: 'c2', label: label('none') }], 'second');
    expect(journal.sent.map((s) => s.batch.changes[0].id)).toEqual(['c1']);
    await journal.accept();
    expect([state.failure, state.unsaved, state.savedCount]).toEqual(['the review does not answer', 1, 1]);
    await journal.accept();
    expect([state.failure, state.unsaved, state.savedCount]).toEqual([undefined, 0, 2]);
    expect(journal.written).toEqual(['c1 green', 'c2 none']);
    expect(journal.open().savedCount).toBe(2);
  });

  it('are tried again after pauses that grow, and at once when the link is back', async () => {
    const journal = new FakeJournal();
    const state = journal.open();
    state.change([{ id: 'c1', label: label('green') }], 'first');
    await journal.fail();
    const pauses: number[] = [];
    for (let k = 0; k < 4; k++) {
      const from = Date.now();
      await vi.advanceTimersToNextTimerAsync();
      pauses.push(Date.now() - from);
      expect(journal.sent).toHaveLength(1);
      await journal.fail();
    }
    expect(pauses.every((p, k) => p > (pauses[k - 1] ?? 0))).toBe(true);
    expect(journal.sent).toHaveLength(0);
    journal.link(true);
    expect(journal.sent).toHaveLength(1);
    await journal.accept();
    expect([state.unsaved, vi.getTimerCount()]).toEqual([0, 0]);
  });

  it('that are refused are taken back with their step, and those after them go on', async () => {
    const journal = new FakeJournal();
    const state = journal.open();
    const told: string[] = [];
    state.change([{ id: 'c1', label: label('green') }], 'first');
    await journal.accept();
    state.onChange((what) => told.push(what));
    state.change([{ id: 'c1', label: label('red') }, { id: 'c3', label: label('red') }], 'refused');
    state.change([{ id: 'c2', label: label('none') }], 'third');
    await journal.fail(new Refusal('no such call'));
    expect(told).toContain('refused');
    expect([state.refusal, state.failure, birdOf(state, 'c1'), state.get('c3')!.status, birdOf(state, 'c2')]).toEqual(['no such call', undefined, 'green', 'unheard', 'none']);
    await journal.accept();
    expect([journal.written, state.savedCount, state.unsaved]).toEqual([['c1 green', 'c2 none'], 2, 0]);
    expect([state.undo(), state.undo(), state.undo()]).toEqual([{ isDone: true, says: 'third' }, { isDone: true, says: 'first' }, undefined]);
    expect(state.refusal).toBeUndefined();
  });

  it('many at once go in pieces that the server takes, and are one step', async () => {
    const calls = makeCalls(2 * MOST_CHANGES + 1);
    const journal = new FakeJournal(calls);
    const state = journal.open();
    state.change(calls.map((c) => ({ id: `c${c.callId}`, label: label('green') })), 'all');
    for (let k = 0; k < 3; k++) {
      expect(() => parseChanges(journal.sent[0].batch.changes)).not.toThrow();
      expect([state.savedCount, state.unsaved]).toEqual([k * MOST_CHANGES, calls.length - k * MOST_CHANGES]);
      await journal.accept();
    }
    expect([state.savedCount, state.unsaved, journal.entries.length]).toEqual([calls.length, 0, 3]);
    state.undo();
    for (let k = 0; k < 3; k++) await journal.accept();
    expect([state.savedCount, journal.open().labels.size, state.undo()]).toEqual([0, 0, undefined]);
  });

  it('fit the server in bytes too', () => {
    const changes = Array.from({ length: 9000 }, (_, k) => ({ id: `c${k + 1}`, label: { ...label('blue'), note: 'é'.repeat(1500) } }));
    const pieces = splitChanges(changes);
    expect(pieces.flat()).toEqual(changes);
    const bytes = pieces.map((p) => new TextEncoder().encode(JSON.stringify({ window: 'w'.repeat(40), serial: 1, changes: p })).length);
    expect([pieces.length, bytes.every((b) => b <= MOST_BODY_BYTES)]).toEqual([4, true]);
  });
});

describe('two windows', () => {
  it.each([[0, 'none'], [1, 'green']])('that answer the same call at once both show the later in the journal (the one sent as number %i first)', async (first, winner) => {
    const journal = new FakeJournal();
    const [a, b] = [journal.open(), journal.open()];
    a.change([{ id: 'c1', label: label('green') }], 'a');
    b.change([{ id: 'c1', label: label('none') }], 'b');
    await journal.accept(first);
    await journal.accept();
    expect([birdOf(a, 'c1'), birdOf(b, 'c1'), journal.open().labels.get('c1')!.bird]).toEqual([winner, winner, winner]);
  });

  it('keep an own later answer that is still on its way when the earlier one comes back', async () => {
    const journal = new FakeJournal();
    const [a, b] = [journal.open(), journal.open()];
    a.change([{ id: 'c1', label: label('green') }, { id: 'c2', label: label('green') }], 'earlier');
    a.change([{ id: 'c1', label: label('none') }], 'later');
    b.change([{ id: 'c1', label: label('red') }, { id: 'c2', label: label('red') }], 'other');
    await journal.accept(1);
    expect([birdOf(a, 'c1'), birdOf(a, 'c2')]).toEqual(['none', 'green']);
    await journal.accept();
    expect([birdOf(a, 'c1'), birdOf(a, 'c2'), birdOf(b, 'c1'), birdOf(b, 'c2')]).toEqual(['none', 'green', 'green', 'green']);
    await journal.accept();
    expect([birdOf(a, 'c1'), birdOf(b, 'c1')]).toEqual(['none', 'none']);
  });

  it('show the same although the journal comes back long after the acknowledgement', async () => {
    const journal = new FakeJournal();
    const [a, b] = [journal.open(), journal.open()];
    a.change([{ id: 'c1', label: label('green') }], 'a');
    b.change([{ id: 'c1', label: label('none') }], 'b');
    journal.write(1).answer();
    journal.write().answer();
    await flush();
    expect([a.savedCount, a.unsaved, birdOf(a, 'c1'), birdOf(b, 'c1')]).toEqual([1, 0, 'green', 'none']);
    journal.deliver();
    expect([birdOf(a, 'c1'), birdOf(b, 'c1')]).toEqual(['green', 'green']);
  });

  it('do not undo what the other has changed since, and say so', async () => {
    const journal = new FakeJournal();
    const [a, b] = [journal.open(), journal.open()];
    a.change([{ id: 'c2', label: label('green') }], 'before');
    await journal.accept();
    a.change([{ id: 'c1', label: label('green') }], 'a');
    await journal.accept();
    b.change([{ id: 'c1', label: label('none') }], 'b');
    await journal.accept();
    expect(a.undo()).toEqual({ isDone: false, says: 'another window has changed this since' });
    expect([birdOf(a, 'c1'), a.redo(), journal.sent.length, a.unsaved]).toEqual(['none', undefined, 0, 0]);
    expect([a.undo(), a.get('c2')!.status]).toEqual([{ isDone: true, says: 'before' }, 'unheard']);
  });
});
