import { describe, expect, it } from 'vitest';
import { LOOK_ALIKE_FEATURES, prepareLookAlikeFeatures } from '../../src/model/look-alikes.js';
import { makeCandidate } from './make-candidate.js';

const column = (row: readonly number[], name: (typeof LOOK_ALIKE_FEATURES)[number]): number => row[LOOK_ALIKE_FEATURES.indexOf(name)];
const tick = (onsetSec: number, part = {}) => makeCandidate(2, { track: 0, onsetSec, offsetSec: onsetSec + 0.015, ...part });

describe('sounds of one make on one track', () => {
  it('are judged by what most of them were taken for', () => {
    const candidates = Array.from({ length: 9 }, (_, k) => tick(k));
    const odds = [-6, 1, 2, 1, 2, 1, 2, 1, 2];
    const row = prepareLookAlikeFeatures(candidates, odds)(0);
    // All are as alike as can be: of equals the nearest before, then those after in order of time; six of them count.
    expect(column(row, 'lookAlikeOdds')).toBeCloseTo((1 + 2 + 1 + 2 + 1 + 2) / 6, 12);
    expect(column(row, 'lookAlikeHighOdds')).toBe(2);
    expect(column(row, 'lookAlikeDistance')).toBeCloseTo(0, 9);
    expect(column(row, 'lookAlikeCount')).toBeCloseTo(Math.log2(9), 12);
  });

  it('are told from those of another make, another track, another time, and from other cuts of the same sound', () => {
    const candidates = [
      tick(0), tick(0.001), tick(1, { offsetSec: 1.1 }), tick(2, { centroidHz: 6500 }), tick(3, { flatness: 0.5 }), tick(4, { track: 1 }), tick(5, { shared: 1 }),
      tick(6, { bands: Float64Array.from({ length: 16 }, (_, k) => (k === 0 ? 1 : 0)) }), tick(400),
    ];
    const row = prepareLookAlikeFeatures(candidates, candidates.map(() => 5))(0);
    expect(row).toEqual([0, 0, 2.5, 0]);
  });

  it('nearest in make come first, and the distance is that of the plain formula', () => {
    const near = [0.01, 0.02, 0.03, 0.04, 0.05, 0.06, 0.07];
    const candidates = [tick(0), ...near.map((d, k) => tick(1 + k, { entropy: 0.6 + d }))];
    const row = prepareLookAlikeFeatures(candidates, [0, ...near.map((_, k) => k)])(0);
    expect(column(row, 'lookAlikeOdds')).toBeCloseTo((0 + 1 + 2 + 3 + 4 + 5) / 6, 12);
    expect(column(row, 'lookAlikeDistance')).toBeCloseTo((near.slice(0, 6).reduce((a, b) => a + b, 0) / 0.08) / 6, 9);
  });

  it('are not found in a recording without sounds', () => {
    expect(() => prepareLookAlikeFeatures([], [])).not.toThrow();
  });
});
