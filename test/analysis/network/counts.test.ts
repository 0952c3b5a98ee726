import { describe, expect, it } from 'vitest';
import { computeCorrelogram } from '../../../src/analysis/network/correlogram.js';
import { cutBlocks, findObservedTime, intersectIntervals, mergeIntervals, subtractIntervals } from '../../../src/analysis/network/observed-time.js';
import { findFirstReplies, measureReplyShare, summariseLatencies } from '../../../src/analysis/network/replies.js';
import { countByShift, drawJitters, drawShifts } from '../../../src/analysis/network/surrogates.js';
import { countLags, countReplied, countRepliedOnRing } from './reference.js';
import { Dice } from './simulate-calls.js';

function drawTrain(dice: Dice, count: number, lengthSec: number): number[] {
  return Array.from({ length: count }, () => Math.floor(dice.unit() * lengthSec * 1e6)).sort((a, b) => a - b);
}
const toSeconds = (micros: number[]): Float64Array => Float64Array.from(micros, (m) => m / 1e6);

describe('counts against plain loops', () => {
  it.each([1, 2, 3, 4])('correlogram and replies are those of every pair looked at (draw %i)', (seed) => {
    const dice = new Dice(seed);
    const a = drawTrain(dice, 60 * seed, 100);
    const b = drawTrain(dice, 45, 100);
    // Calls exactly on the edges of bins and of the window.
    b.push(a[3] + 50_000, a[5] + 500_000, a[7] + 20_000, a[9]);
    b.sort((x, y) => x - y);
    const { counts } = computeCorrelogram(toSeconds(a), toSeconds(b), [{ startSec: 0, endSec: 200 }], 0.02, 1);
    expect([...counts]).toEqual(countLags(a, b, 20_000, 50));
    const latency = findFirstReplies(toSeconds(a), toSeconds(b), 0.05, 0.5);
    expect(summariseLatencies(latency).count).toBe(countReplied(a, b, 50_000, 500_000));
  });

  it('correlogram does not count across blocks and expects n1 n2 bin (T - lag) / T^2', () => {
    const { counts, expected } = computeCorrelogram(Float64Array.of(9.9, 50), Float64Array.of(10.1, 50.5), [{ startSec: 0, endSec: 10 }, { startSec: 10, endSec: 100 }], 0.1, 1);
    expect(counts.reduce((s, x) => s + x, 0)).toBe(1);
    expect(counts[5]).toBe(1);
    // 120 and 90 calls in 600 s, bins of 50 ms: 0.9 at lag 0, 0.897 at 2 s (closed form for independent Poisson trains).
    const even = (n: number): Float64Array => Float64Array.from({ length: n }, (_, k) => ((k + 0.3) * 600) / n);
    const chance = computeCorrelogram(even(120), even(90), [{ startSec: 0, endSec: 600 }], 0.05, 2.05).expected;
    expect(chance[0]).toBeCloseTo(0.9 * (1 - 0.025 / 600), 12);
    expect(chance[40]).toBeCloseTo(0.9 * (1 - 2.025 / 600), 12);
    expect(expected[0]).toBeCloseTo((1 * 2 * 0.1 * 89.95) / 8100, 12);
  });

  it.each([1, 2, 3])('replies at every step of a circular shift are those of a plain loop on the ring (draw %i)', (seed) => {
    const dice = new Dice(seed + 10);
    // A ring of 4096 steps of 5 ms with times half a step off: no value falls on an edge of a window.
    const onGrid = (n: number, offset: number): number[] => [...new Set(Array.from({ length: n }, () => Math.floor(dice.unit() * 4096) * 5000 + offset))].sort((x, y) => x - y);
    const a = onGrid(40, 0);
    const b = onGrid(30 * seed, 2500);
    const table = countByShift(toSeconds(a), toSeconds(b), 20.48, 0.05, 0.5);
    for (let k = 0; k < 4096; k += 37) expect([k, table[k]]).toEqual([k, countRepliedOnRing(a, b, 20_480_000, k * 5000, 50_000, 500_000)]);
  });

  it('over all circular shifts the mean number of replies is the covered share of the ring times the calls, exactly', () => {
    const dice = new Dice(5);
    const a = toSeconds(drawTrain(dice, 80, 600));
    const sparse = Float64Array.from({ length: 30 }, (_, k) => 3 + 20 * k);
    const shifts = drawShifts(a, sparse, [{ startSec: 0, endSec: 600 }], 0.05, 0.5, 10, 1);
    // Windows that do not overlap: n1 n2 w / T (closed form); the grid of shifts resolves it to a step.
    expect(80 * measureReplyShare(sparse, 0, 30, 600, 0.45)).toBeCloseTo((80 * 30 * 0.45) / 600, 12);
    expect(Math.abs(shifts.mean - 1.8)).toBeLessThan(80 * 30 / 4096);
    const dense = toSeconds(drawTrain(dice, 900, 600));
    const many = drawShifts(a, dense, [{ startSec: 0, endSec: 600 }], 0.05, 0.5, 4000, 1);
    expect(many.mean / 80).toBeCloseTo(measureReplyShare(dense, 0, dense.length, 600, 0.45), 2);
    const drawn = many.counts.reduce((s, x) => s + x, 0) / 4000;
    expect(Math.abs(drawn - many.mean)).toBeLessThan((4 * many.sd) / Math.sqrt(4000));
  });

  it('jitters of single calls have the mean of a plain loop over places in the cell', () => {
    const dice = new Dice(8);
    const a = drawTrain(dice, 25, 300).filter((t, i, all) => i === 0 || t - all[i - 1] > 600_000);
    const b = drawTrain(dice, 200, 300);
    const jitters = drawJitters(toSeconds(a), toSeconds(b), 0.05, 0.5, 2, 0.5, 2000, 3);
    let sum = 0;
    for (const t of a) {
      const cell = Math.floor(t / 2_000_000) * 2_000_000;
      for (let k = 0; k < 128; k++) sum += countReplied([cell + (k + 0.5) * 15_625], b, 50_000, 500_000) / 128;
    }
    expect(jitters.mean).toBeCloseTo(sum, 9);
    const drawn = jitters.counts.reduce((s, x) => s + x, 0) / 2000;
    expect(Math.abs(drawn - jitters.mean)).toBeLessThan((4 * jitters.sd) / Math.sqrt(2000));
  });

  it('jitters move the calls of a bout together', () => {
    // Two calls 0.3 s apart and one that answers the second: at any place either both could find it or one, never each by its own draw.
    const together = drawJitters(Float64Array.of(0.5, 0.8), Float64Array.of(1), 0.05, 0.5, 2, 0.5, 5000, 3);
    const apart = drawJitters(Float64Array.of(0.5, 0.8), Float64Array.of(1), 0.05, 0.5, 2, 0.1, 5000, 3);
    expect(together.sd).not.toBeCloseTo(apart.sd, 2);
    expect(apart.mean).toBeCloseTo(2 * 0.225, 1);
  });
});

describe('observed time', () => {
  it('joins, cuts out and intersects half-open intervals', () => {
    const i = (startSec: number, endSec: number): { startSec: number; endSec: number } => ({ startSec, endSec });
    expect(mergeIntervals([i(5, 6), i(0, 2), i(2, 3), i(1, 1)])).toEqual([i(0, 3), i(5, 6)]);
    expect(subtractIntervals([i(0, 10), i(20, 30)], [i(2, 3), i(9, 21), i(25, 99)])).toEqual([i(0, 2), i(3, 9), i(21, 25)]);
    expect(intersectIntervals([i(0, 10), i(20, 30)], [i(5, 25)])).toEqual([i(5, 10), i(20, 25)]);
    expect(cutBlocks([i(0, 1200), i(2000, 2005)], 600, 10)).toEqual([i(0, 600), i(600, 1200)]);
  });

  it('leaves out hours without use, lost links of 5 s and more, and what is excluded', () => {
    const hour = { recorder: 'one', noiseFloorDb: -60, gainDb: 0 };
    const tracks = [
      { track: 'a', startSec: 0, usableSec: 3600, lostShare: 0, ...hour }, { track: 'a', startSec: 3600, usableSec: 0, lostShare: 1, ...hour }, { track: 'a', startSec: 7200, usableSec: 900, lostShare: 0.5, ...hour },
      { track: 'b', startSec: 0, usableSec: 3600, lostShare: 0, ...hour }, { track: 'b', startSec: 3600, usableSec: 3600, lostShare: 0, ...hour }, { track: 'b', startSec: 7200, usableSec: 1800, lostShare: 0, ...hour },
    ];
    const sounds = [[100, 104], [200, 210]].map(([onsetSec, offsetSec]) => ({ kind: 'dropout' as const, track: 'a', onsetSec, offsetSec, levelDb: 0, source: '' }));
    const observed = findObservedTime(['a', 'b'], 9000, tracks, sounds, [{ bird: 'b', startSec: 0, endSec: 60, reason: 'x' }, { bird: '', startSec: 500, endSec: 600, reason: 'y' }]);
    expect(observed.get('a')).toEqual([{ startSec: 0, endSec: 200 }, { startSec: 210, endSec: 500 }, { startSec: 600, endSec: 3600 }, { startSec: 7200, endSec: 9000 }]);
    expect(observed.get('b')).toEqual([{ startSec: 60, endSec: 500 }, { startSec: 600, endSec: 9000 }]);
  });
});
