import { describe, expect, it } from 'vitest';
import { buildFloorTable, meanFloorDb } from '../../src/pipeline/floor-table.js';

const BINS = 5;
/** One survey per value: floors of one track; null = no sound. */
const surveys = (...values: (number | null)[]) => values.map((v) => ({ floors: [v === null ? new Float32Array(0) : new Float32Array(BINS).fill(v)] }));
const build = (...values: (number | null)[]): number[] => buildFloorTable(surveys(...values), 1, BINS, 60).map((cell) => cell[0][2]);

describe('the table of noise floors', () => {
  it('keeps what a cell measured while it is near its neighbourhood', () => {
    expect(build(1, 2, 3, 1, 2)).toEqual([1, 2, 3, 1, 2]);
  });

  it('does not take an hour of receiver noise for the floor: at most 6 dB above the quartile around', () => {
    const found = build(...Array.from({ length: 40 }, (_, k) => (k >= 20 && k < 30 ? 1000 : 1)));
    expect(found[25]).toBe(4);
    expect(found[5]).toBe(1);
  });

  it('does not follow a cell that was muted: at most 10 dB below', () => {
    expect(build(1, 1, 1e-9, 1, 1)[2]).toBeCloseTo(0.1, 6);
  });

  it('takes the neighbourhood\'s quartile where there is no sound, and something tiny where there never is', () => {
    expect(build(2, null, 2, 2)[1]).toBe(2);
    for (const v of build(null, null)) expect(v).toBeCloseTo(1e-13, 20);
  });

  it('forgets what lies more than half an hour away', () => {
    const found = build(...Array.from({ length: 80 }, (_, k) => (k < 40 ? 1 : 100)));
    expect(found[0]).toBe(1);
    expect(found[79]).toBe(100);
  });

  it('gives its mean over a band in decibels', () => {
    expect(meanFloorDb(Float32Array.from([9, 0.1, 0.3, 9]), [1, 3])).toBeCloseTo(10 * Math.log10(0.2), 6);
  });
});
