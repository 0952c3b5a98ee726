import { describe, expect, it } from 'vitest';
import type { Candidate } from '../../src/evidence/candidate.js';
import { GainWatch, lookInBatches, planBatches } from '../../src/pipeline/look-plan.js';

const range = (n: number): number[] => Array.from({ length: n }, (_, k) => k);

describe('planBatches', () => {
  it('takes every cell once, half as many again each time', () => {
    const batches = planBatches(range(138).map((k) => 3 * k + 1), 30);
    expect(batches.map((b) => b.length)).toEqual([30, 15, 23, 34, 36]);
    expect(batches.flat().sort((a, b) => a - b)).toEqual(range(138).map((k) => 3 * k + 1));
    for (const b of batches) expect(b).toEqual([...b].sort((x, y) => x - y));
  });

  it('is one batch in order of time where the cells are few', () => {
    expect(planBatches(range(30), 30)).toEqual([range(30)]);
    expect(planBatches(range(45), 30)).toEqual([range(45)]);
    expect(planBatches(range(46), 30)).toHaveLength(3);
    expect(planBatches([], 30)).toEqual([]);
  });

  it('spreads all that was looked at over the whole study, after every batch', () => {
    const count = 1000;
    let seen: number[] = [];
    for (const batch of planBatches(range(count), 8)) {
      seen = [...seen, ...batch].sort((a, b) => a - b);
      const gaps = [...seen, count].map((cell, k) => cell - (k > 0 ? seen[k - 1] : 0));
      // Numbers of van der Corput leave no gap beyond twice the smallest possible one.
      expect(Math.max(...gaps)).toBeLessThanOrEqual(Math.ceil((2 * count) / seen.length) + 1);
    }
  });
});

describe('lookInBatches', () => {
  it('gives cells in order of time whatever the order they were looked at in, and stops when told', async () => {
    const asked: number[] = [];
    const look = async (cells: readonly number[]): Promise<Candidate[][]> => cells.map((k) => [{ onsetSec: k } as Candidate]);
    const found = await lookInBatches(planBatches(range(100), 10), (so) => { asked.push(so.length); return so.length > 20; }, look);
    expect(asked).toEqual([10, 15, 23]);
    expect(found).toHaveLength(23);
    expect(found.flat().map((c) => c.onsetSec)).toEqual(found.flat().map((c) => c.onsetSec).sort((a, b) => a - b));
  });
});

describe('GainWatch', () => {
  /** A call of bird 0 or 1 that the other hears 1 ms later and `leadDb` quieter than the usual 17 dB suggest. */
  const call = (track: number, gainDb: readonly number[]): Candidate => ({
    track, shared: 0, ownedShare: 0.9, peakDb: 30, entropy: 0.5, lostShare: Float64Array.of(0, 0), floorDb: Float64Array.of(-60, -60),
    levelDb: Float64Array.from(gainDb, (g, j) => -20 + g - (j === track ? 0 : 17)), lagSec: Float64Array.from(gainDb, (_, j) => (j === track ? 0 : 0.001)),
    agreementZ: Float64Array.from(gainDb, (_, j) => (j === track ? 0 : 20)),
  }) as Candidate;
  const cells = (count: number, gainDb: readonly number[]): Candidate[][] => range(count).map((k) => [call(k % 2, gainDb)]);
  const rule = { firstCells: 8, movedDb: 1 };

  it('is settled once gains stay where they are, not the first time it is asked', () => {
    const watch = new GainWatch([0, 0], rule);
    expect(watch.isSettled(cells(20, [3, -3]))).toBe(false);
    expect(watch.isSettled(cells(30, [3, -3]))).toBe(true);
  });

  it('is not settled while a gain moves, nor where few leads tell of it', () => {
    const moving = new GainWatch([0, 0], rule);
    moving.isSettled(cells(20, [0, 0]));
    expect(moving.isSettled(cells(30, [4, -4]))).toBe(false);
    const few = new GainWatch([0, 0], rule);
    few.isSettled(cells(8, [0, 0]));
    expect(few.isSettled(cells(9, [0, 0]))).toBe(false);
  });
});
