import { describe, expect, it } from 'vitest';
import type { Candidate } from '../../src/evidence/candidate.js';
import type { GainFit } from '../../src/model/fit-gains.js';
import { PAIR_FEATURES, preparePairFeatures, splitValues } from '../../src/model/pair-splits.js';
import { makeCandidate } from './make-candidate.js';

const gains: GainFit = { gainDb: Float64Array.from([0, 0, 0]), scaleDb: 1, leadCurveDb: Float64Array.from([7, 12, 17, 20]), observations: 100 };

/** Every split tried by its definition: variance between groups, largest. */
function splitPlainly(values: readonly number[]): { middle: number; gap: number } {
  const v = [...values].sort((a, b) => a - b);
  const mean = (x: readonly number[]): number => x.reduce((s, y) => s + y, 0) / x.length;
  let best = { between: -1, middle: v[0], gap: 0 };
  for (let k = 1; k < v.length; k++) {
    const low = v.slice(0, k);
    const high = v.slice(k);
    const all = mean(v);
    const between = low.length * (mean(low) - all) ** 2 + high.length * (mean(high) - all) ** 2;
    if (between > best.between + 1e-12) best = { between, middle: (mean(low) + mean(high)) / 2, gap: mean(high) - mean(low) };
  }
  return best;
}

describe('the split of values into two groups', () => {
  it('is the one that a search by definition finds', () => {
    let state = 7;
    const draw = (): number => { state = (16807 * state) % 2147483647; return state / 2147483647; };
    for (let n = 2; n < 60; n++) {
      const values = Array.from({ length: n }, (_, k) => (k % 3 === 0 ? 0.1 : 0) + 0.04 * draw());
      const plain = splitPlainly(values);
      const split = splitValues(values, 0.001);
      expect(split.middle).toBeCloseTo(plain.middle, 10);
      expect(split.gap).toBeCloseTo(plain.gap, 10);
    }
  });

  it('measures the gap in scatters within groups, by hand for four values', () => {
    // Groups {0, 2} and {10, 12}: means 1 and 11, every value 1 from its mean.
    expect(splitValues([10, 0, 12, 2], 0.001)).toEqual({ middle: 6, gap: 10, clearness: 10 });
    expect(splitValues([10, 0, 12, 2], 4)).toEqual({ middle: 6, gap: 10, clearness: 2.5 });
    expect(splitValues([3, 3, 3], 0.5)).toEqual({ middle: 3, gap: 0, clearness: 0 });
    expect(splitValues([3], 0.5)).toEqual({ middle: 3, gap: 0, clearness: 0 });
  });
});

function describeAll(candidates: Candidate[], logOdds: number[]): number[][] {
  const describePair = preparePairFeatures(candidates, logOdds, gains);
  return candidates.map((_, n) => describePair(n));
}

describe('two birds side by side', () => {
  // Delays of the receivers make both birds' calls arrive at the second one's microphone first: -0.12 ms for the second bird, -0.02 ms for the first.
  const sound = (onsetSec: number, track: number, lagFirstToSecondMs: number, leadOfFirstDb: number) => {
    const sign = track === 0 ? 1 : -1;
    const other = 1 - track;
    const lag = [0, 0, 2e-3]; lag[other] = (sign * lagFirstToSecondMs) / 1e3;
    const level = [-60, -60, -60]; level[track] = -40; level[other] = -40 - sign * leadOfFirstDb;
    return makeCandidate(3, { track, onsetSec, offsetSec: onsetSec + 0.1, lagSec: Float64Array.from(lag), levelDb: Float64Array.from(level) });
  };
  const candidates = Array.from({ length: 12 }, (_, k) => (k % 2 === 0 ? sound(k, 1, -0.02, 1) : sound(k, 1, -0.12, -5)));
  const rows = describeAll(candidates, candidates.map(() => 1)).map((x) => Object.fromEntries(PAIR_FEATURES.map((name, k) => [name, x[k]])));

  it('fall into two groups, whichever track the sound was cut from', () => {
    for (const [k, r] of rows.entries()) {
      expect(r.pairLagGapMs).toBeCloseTo(0.1, 9);
      expect(r.pairLeadGapDb).toBeCloseTo(6, 9);
      // Seen from the second bird's track: its own calls lie above the split, the first bird's below.
      expect(r.pairLagMs).toBeCloseTo(k % 2 === 0 ? -0.05 : 0.05, 9);
      expect(r.pairLeadDb).toBeCloseTo(k % 2 === 0 ? -3 : 3, 9);
      expect(r.pairCount).toBeCloseTo(Math.log2(13), 9);
    }
    const [seenFromFirst] = describeAll([sound(4, 0, -0.02, 1), ...candidates.slice(5)], Array(8).fill(1));
    expect(seenFromFirst[0]).toBeGreaterThan(0);
  });

  it('are not told by what is surely no call, nor by a bird alone', () => {
    const wings = Array.from({ length: 20 }, (_, k) => sound(20 + k / 4, 1, -0.4, -30));
    const with2 = describeAll([...candidates, ...wings], [...candidates.map(() => 1), ...wings.map(() => -5)]);
    expect(with2[0][1]).toBeCloseTo(0.1, 9);
    const far = makeCandidate(3, { track: 0, onsetSec: 1, offsetSec: 1.1, lagSec: Float64Array.from([0, 1e-3, 2e-3]) });
    expect(describeAll([far], [3])[0]).toEqual(PAIR_FEATURES.map(() => 0));
    expect(describeAll([candidates[0]], [3])[0]).toEqual(PAIR_FEATURES.map(() => 0));
  });
});
