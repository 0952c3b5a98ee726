import { describe, expect, it } from 'vitest';
import type { Candidate } from '../../src/evidence/candidate.js';
import type { GainFit } from '../../src/model/fit-gains.js';
import { compareLags, isSameSound, isSurelyOne, prepareSameSoundFeatures, SAME_SOUND_FEATURES } from '../../src/model/same-sound.js';
import { makeCandidate } from './make-candidate.js';

const gains: GainFit = { gainDb: Float64Array.from([2, -2, 0]), scaleDb: 1, leadCurveDb: Float64Array.from([7, 12, 17, 20]), observations: 100 };

/** A sound as a track sees it, from when it reached each of three tracks, ms. */
function hear(track: number, onsetSec: number, arrivalMs: readonly number[], part: Partial<Candidate> = {}): Candidate {
  return makeCandidate(3, { track, onsetSec, lagSec: Float64Array.from(arrivalMs, (t) => (t - arrivalMs[track]) / 1e3), ...part });
}

function compare(candidates: readonly Candidate[], logOdds: readonly number[], likeness = candidates.map(() => 0)): Record<string, number>[] {
  const describe = prepareSameSoundFeatures(candidates, logOdds, candidates.map((c) => c.levelDb[c.track]), (n) => likeness[n], gains);
  return candidates.map((_, n) => describe(n)).map((x) => Object.fromEntries(SAME_SOUND_FEATURES.map((name, k) => [name, x[k]])));
}

describe('one sound on two tracks', () => {
  it('is known by lags that agree from either side', () => {
    const arrivals = [0, 0.02, 1.4];
    expect(compareLags(hear(0, 1, arrivals), hear(1, 1, arrivals))).toBeCloseTo(0, 9);
    expect(isSameSound(hear(0, 1, arrivals), hear(1, 1.003, arrivals))).toBe(true);
    expect(isSameSound(hear(0, 1, arrivals), hear(0, 1.003, arrivals))).toBe(false);
    expect(isSurelyOne(hear(0, 1, arrivals), hear(1, 1.003, arrivals))).toBe(true);
    // Half of it apart, or lags that differ by 0.04 ms: perhaps two sounds.
    expect(isSurelyOne(hear(0, 1, arrivals), hear(1, 1.06, arrivals))).toBe(false);
    expect(isSurelyOne(hear(0, 1, arrivals), hear(1, 1.003, [0.06, 0.02, 1.4]))).toBe(false);
  });

  it('is not two birds that call at once, each of which its own track hears first', () => {
    const a = hear(0, 1, [0, 0.13, 1.4]), b = hear(1, 1, [0.13, 0, 1.5]);
    // Seen from track 1: -0.13 against 0.13 on track 0, 1.27 against 1.5 on track 2.
    expect(compareLags(a, b)).toBeCloseTo(Math.sqrt((0.26 ** 2 + 0.23 ** 2) / 2), 9);
    expect(isSameSound(a, b)).toBe(false);
  });

  it('is judged by times alone where a track does not surely hear it', () => {
    const deaf = new Float64Array(3);
    expect(compareLags(hear(0, 1, [0, 0.1, 1], { agreementZ: deaf }), hear(1, 1, [0, 0.1, 1]))).toBeNaN();
    expect(isSameSound(hear(0, 1, [0, 1, 1], { agreementZ: deaf }), hear(1, 1.01, [1, 0, 1], { agreementZ: deaf }))).toBe(true);
    expect(isSameSound(hear(0, 1, [0, 1, 1], { agreementZ: deaf }), hear(1, 1.03, [1, 0, 1], { agreementZ: deaf }))).toBe(false);
  });

  it('gives the surest rival of the same sound, and of another one, with what tells them apart', () => {
    const arrivals = [0, 0.02, 1.4];
    const mine = hear(0, 1, arrivals, { levelDb: Float64Array.from([-50, -58, -70]) });
    const same = hear(1, 1.002, arrivals, { offsetSec: 1.099, levelDb: Float64Array.from([-55, -51, -70]) });
    const weaker = hear(1, 1.002, arrivals), other = hear(2, 1.05, [1, 1, 0]), far = hear(2, 1.5, [0, 0, 0]);
    const [row] = compare([mine, same, weaker, other, far], [0, 1.5, 0.2, 2.5, 9], [0.9, 0.7, 0, 0, 0]);
    expect(row.sameLogOdds).toBe(1.5);
    expect(row.otherSoundLogOdds).toBe(2.5);
    expect(row.sameIou).toBeCloseTo(0.097 / 0.1, 9);
    expect(row.sameOnsetMs).toBeCloseTo(-2, 9);
    expect(row.sameOffsetMs).toBeCloseTo(1, 9);
    expect(row.sameLagMs).toBeCloseTo(0.02, 9);
    expect(row.sameLagsMs).toBeCloseTo(0, 9);
    // -50 - 2 over -58 + 2, and back -51 + 2 over -55 - 2.
    expect(row.sameLeadDb).toBeCloseTo(4, 9);
    expect(row.sameLeadBackDb).toBeCloseTo(8, 9);
    expect(row.sameStrengthDb).toBeCloseTo(-1, 9);
    expect(row.sameLikeness).toBeCloseTo(0.2, 9);
  });

  it('states plain values for a sound that stands alone', () => {
    expect(compare([hear(0, 1, [0, 1, 2]), hear(1, 9, [1, 0, 2])], [1, 3])[0]).toMatchObject({ sameLogOdds: -8, otherSoundLogOdds: -8, sameIou: 0, sameLagsMs: 0.5 });
  });
});
