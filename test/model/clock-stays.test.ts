/** Stays of two birds from lags of known places: which readings belong together, and which large delays of receivers are believed. */
import { describe, expect, it } from 'vitest';
import { createChain } from '../../src/model/clock-chain.js';
import { confirmDelays } from '../../src/model/clock-delays.js';
import type { ClockState } from '../../src/model/clock-groups.js';
import type { LagReadings } from '../../src/model/clock-readings.js';
import { formStays, STAY_SEC } from '../../src/model/clock-stays.js';

/** Rows of time, track, hearing track, lag in ms, in order of time. */
function makeReadings(rows: readonly [number, number, number, number][]): LagReadings {
  const column = (k: number): Float64Array => Float64Array.from(rows, (r) => r[k]);
  return { count: rows.length, tSec: column(0), from: Uint16Array.from(rows, (r) => r[1]), to: Uint16Array.from(rows, (r) => r[2]), lagMs: column(3), sigmaMs: column(3).fill(0.005), nearMs: column(3) };
}

/** Clocks without offset. */
function makeState(delayMs: readonly number[], durationSec = 1200): ClockState {
  return { chain: createChain(durationSec, 30, 1), delayMs: Float64Array.from(delayMs), steps: [], stepMs: new Float64Array(0) };
}

const RECORDERS = [0, 1];
const SETTINGS = { gapMs: 0.2, sameMs: 0.02 };
const group = (rows: readonly [number, number, number, number][], recorders = RECORDERS): { members: number[]; bothWays: boolean }[] =>
  formStays(makeReadings(rows), makeState(recorders.map(() => 0)), recorders, SETTINGS).map(({ members, bothWays }) => ({ members: [...members], bothWays })).sort((a, b) => a.members[0] - b.members[0]);

describe('stays', () => {
  it('hold both directions while the birds sit, whatever readings lie between', () => {
    expect(group([[0, 0, 1, 3], [10, 1, 0, 3.05], [20, 0, 1, 4.6], [30, 0, 1, 3.01], [40, 1, 0, 3.04]])).toEqual([{ members: [0, 1, 3, 4], bothWays: true }, { members: [2], bothWays: false }]);
  });

  it('end for one direction when its caller turns: the other bird\'s calls are shared out in time', () => {
    // Track 1 turns at 100 s: its calls come 0.06 ms later, while what it hears is as before.
    const stays = group([[10, 0, 1, 3], [20, 1, 0, 3.02], [80, 1, 0, 3.02], [90, 0, 1, 3], [170, 0, 1, 3], [180, 1, 0, 3.08], [240, 0, 1, 3], [250, 1, 0, 3.08]]);
    expect(stays).toEqual([{ members: [0, 1, 2, 3], bothWays: true }, { members: [4, 5, 6, 7], bothWays: true }]);
  });

  it('do not join a place with one that is heard long after, though it is as far', () => {
    expect(group([[10, 0, 1, 3], [20, 0, 1, 3], [300, 1, 0, 3], [310, 1, 0, 3]]).every((s) => !s.bothWays)).toBe(true);
  });

  it('match the nearest distances of both directions first', () => {
    const stays = group([[1, 0, 1, 3], [2, 0, 1, 3.15], [3, 1, 0, 3.02], [4, 1, 0, 3.16]]);
    expect(stays).toEqual([{ members: [0, 2], bothWays: true }, { members: [1, 3], bothWays: true }]);
  });

  it('are cut where equations would reach too far, and hold every reading once', () => {
    const rows = Array.from({ length: 200 }, (_, n): [number, number, number, number] => [n * 7, n % 2, 1 - (n % 2), 3 + 0.01 * (n % 3)]);
    const stays = group(rows);
    expect(stays.flatMap((s) => s.members).sort((a, b) => a - b)).toEqual(rows.map((_, n) => n));
    for (const { members } of stays) expect(Math.floor(rows[members[0]][0] / STAY_SEC)).toBe(Math.floor(rows[members[members.length - 1]][0] / STAY_SEC));
  });

  it('within one recorder need both directions', () => {
    expect(group([[0, 0, 1, 3], [1, 0, 1, 3], [2, 0, 2, 5], [3, 2, 0, 5.01]], [0, 0, 0])).toEqual([{ members: [2, 3], bothWays: true }]);
  });
});

describe('large delays of receivers', () => {
  const delayed = (delayMs: number, calls: number): LagReadings => makeReadings(Array.from({ length: calls }, (_, n): [number, number, number, number] => (n % 2 ? [n, 1, 0, 3 - delayMs] : [n, 0, 1, 3 + delayMs])));

  it('are believed where exchanges bear them out', () => {
    expect([...confirmDelays(delayed(0.3, 40), makeState([0, 0.3]), RECORDERS)]).toEqual([0, 0.3]);
  });

  it('are not where the exchanges agree without them, or where there are few', () => {
    expect([...confirmDelays(delayed(0, 40), makeState([0, 0.3]), RECORDERS)]).toEqual([0, 0]);
    expect([...confirmDelays(delayed(0.3, 8), makeState([0, 0.3]), RECORDERS)]).toEqual([0, 0]);
  });

  it('leave small ones as they are', () => {
    expect([...confirmDelays(delayed(0, 8), makeState([-0.04, 0.04]), RECORDERS)]).toEqual([-0.04, 0.04]);
  });
});
