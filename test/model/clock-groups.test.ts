import { describe, expect, it } from 'vitest';
import { renewGroup, type GroupPrior, type ReadingGroup } from '../../src/model/clock-groups.js';
import type { LagReadings } from '../../src/model/clock-readings.js';

/** Nearly nothing is known beforehand, nor is one way worth less than both. */
const prior: GroupPrior = { askewSigmaMs: 10, distanceMs: 4, distanceSigmaMs: 10, oneWaySigmaMs: 10 };

/** Readings of tracks 0 and 1, `there` from the lower one and `back` from the other, that leave so much for the distance. */
function renew(there: readonly number[], back: readonly number[]): { group: ReadingGroup; weights: Float64Array; sumSquares: number; freedom: number } {
  const count = there.length + back.length, residuals = Float64Array.from([...there, ...back]), weights = new Float64Array(count).fill(1e4), from = Uint16Array.from(residuals, (_, m) => (m < there.length ? 0 : 1));
  const r: LagReadings = { count, tSec: new Float64Array(count), from, to: from.map((v) => 1 - v), lagMs: residuals, sigmaMs: new Float64Array(count).fill(0.01), nearMs: new Float64Array(count) };
  const group: ReadingGroup = { members: Int32Array.from({ length: count }, (_, m) => m), bothWays: back.length > 0, askewMs: 0, askewWeight: 1, askewVariance: 0 };
  return { group, weights, ...renewGroup(group, r, residuals, weights, prior, 1) };
}

describe('a group of readings of one pair at its places', () => {
  it('has one freedom less than readings for the distance, and one less for the skew where it is heard both ways; never less than none', () => {
    expect(renew([3, 3, 3, 3], []).freedom).toBe(3);
    expect(renew([3], []).freedom).toBe(0);
    expect(renew([3, 3], [2, 2, 2]).freedom).toBe(3);
    expect(renew([3], [2]).freedom).toBe(0);
  });

  it('takes half of the difference between there and back for the skew, and what is left for noise', () => {
    const { group, sumSquares } = renew([3.1, 3.1, 3.1], [2.9, 2.9]);
    // What is known beforehand weighs a millionth of a reading.
    expect(group.askewMs).toBeCloseTo(0.1, 6);
    expect(sumSquares).toBeCloseTo(0, 6);
    // All of them 1 standard deviation from their mean: each counts (3 + 1) / (3 + 1).
    expect(renew([3.01, 2.99, 3.01, 2.99], []).sumSquares).toBeCloseTo(4, 6);
  });

  it('gives readings far from the others less weight', () => {
    const { weights } = renew([3, 3, 3, 3, 3, 3.5], []);
    // Heavy-tailed noise of 3 degrees of freedom: 4 / (3 + z^2), of which the mean of all is 8 and 42 standard deviations off.
    expect(weights[0] / 1e4).toBeCloseTo(4 / (3 + (0.5 / 6 / 0.01) ** 2), 6);
    expect(weights[5] / 1e4).toBeCloseTo(4 / (3 + ((0.5 * 5) / 6 / 0.01) ** 2), 6);
  });
});
