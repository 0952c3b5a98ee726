import { describe, expect, it } from 'vitest';
import { overlapShare, suppressRivals, type Claim } from '../../src/attribute/suppress.js';
import { makeRandom } from '../model/clock-synthetic.js';

const claim = (track: number, onsetSec: number, offsetSec: number, score: number): Claim => ({ track, onsetSec, offsetSec, score });

function draw(seed: number, count: number): Claim[] {
  const { uniform } = makeRandom(seed);
  return Array.from({ length: count }, () => {
    const onset = 4 * uniform();
    return claim(Math.floor(3 * uniform()), onset, onset + 0.02 + 0.5 * uniform() ** 2, uniform());
  });
}

describe('competing claims', () => {
  it('go to the best; what overlaps it by more than 30 % of the shorter goes, the rest stays', () => {
    const claims = [claim(0, 0, 1, 0.9), claim(0, 0.8, 1.4, 0.8), claim(0, 0.85, 1.35, 0.85), claim(1, 0, 1, 0.6), claim(0, 2, 3, 0.4)];
    expect(suppressRivals(claims, 0.5)).toEqual([0, 3, 2]);
    expect(suppressRivals(claims, 0.3)).toEqual([0, 3, 2, 4]);
    expect(suppressRivals([], 0.5)).toEqual([]);
  });

  it('give way even to a long one that covers them wholly', () => {
    expect(suppressRivals([claim(0, 0, 1, 0.9), claim(0, 0.4, 0.45, 0.8)], 0.5)).toEqual([0]);
  });

  it('never keep two of a track that overlap by more than 30 % of the shorter, nor drop one without a better one in the way', () => {
    for (let seed = 0; seed < 60; seed++) {
      const claims = draw(seed, 80);
      const kept = suppressRivals(claims, 0.5);
      const clash = (n: number, m: number): boolean => n !== m && claims[n].track === claims[m].track && overlapShare(claims[n], claims[m]) > 0.3;
      for (const n of kept) {
        expect(claims[n].score).toBeGreaterThanOrEqual(0.5);
        for (const m of kept) expect(clash(n, m)).toBe(false);
      }
      claims.forEach((c, n) => {
        if (c.score >= 0.5 && !kept.includes(n)) expect(kept.some((m) => clash(n, m) && claims[m].score >= c.score)).toBe(true);
      });
      for (let k = 1; k < kept.length; k++) expect(claims[kept[k]].onsetSec).toBeGreaterThanOrEqual(claims[kept[k - 1]].onsetSec);
    }
  });

  it('are decided alike in any order', () => {
    for (let seed = 0; seed < 30; seed++) {
      const claims = draw(seed, 60);
      // Ties of score as well: tenths only.
      for (const c of claims) c.score = Math.round(c.score * 10) / 10;
      const keptOf = (list: Claim[]): Claim[] => suppressRivals(list, 0.5).map((n) => list[n]);
      const { uniform } = makeRandom(seed + 1000);
      const shuffled = claims.map((c) => ({ c, at: uniform() })).sort((a, b) => a.at - b.at).map((e) => e.c);
      expect(keptOf(shuffled)).toEqual(keptOf(claims));
    }
  });
});

it('overlap is a share of the shorter stretch', () => {
  expect(overlapShare(claim(0, 0, 10, 1), claim(0, 9, 11, 1))).toBe(0.5);
  expect(overlapShare(claim(0, 0, 1, 1), claim(0, 1, 2, 1))).toBe(0);
  expect(overlapShare(claim(0, 0, 1, 1), claim(0, 5, 6, 1))).toBe(0);
  expect(overlapShare(claim(0, 0, 10, 1), claim(0, 3, 4, 1))).toBe(1);
});
