import { describe, expect, it } from 'vitest';
import { computeUntaggedContext, UNTAGGED_AGAIN_FEATURES } from '../../src/attribute/untagged-context.js';
import { UNTAGGED_FEATURES } from '../../src/attribute/untagged-features.js';
import type { Candidate } from '../../src/evidence/candidate.js';
import { makeVoicePattern } from '../../src/evidence/voice-pattern.js';
import type { GainFit } from '../../src/model/fit-gains.js';
import { makeCandidate } from '../model/make-candidate.js';

const gains: GainFit = { gainDb: Float64Array.from([0, 0, 0, 0]), scaleDb: 1, leadCurveDb: Float64Array.from([7, 12, 17, 20]), observations: 100 };
const first = new Float64Array(UNTAGGED_FEATURES.length);

/** A sound from a place with these arrival times (ms) at the four microphones, cut from a track. */
const sound = (track: number, onsetSec: number, arrivalMs: number[], part: Partial<Candidate> = {}): Candidate => makeCandidate(4, {
  track, onsetSec, offsetSec: onsetSec + 0.1, lagSec: Float64Array.from(arrivalMs, (v) => (v - arrivalMs[track]) / 1e3), levelDb: Float64Array.from(arrivalMs, (v) => -40 - 4 * v), ...part,
});

function look(candidates: Candidate[], logOdds: number[], events = candidates.map((_, k) => k)): Record<string, number>[] {
  const cuts = candidates.map((_, candidate) => ({ event: events[candidate], candidate }));
  return computeUntaggedContext(candidates, cuts, cuts.map(() => first), logOdds, gains).map((x) => Object.fromEntries(UNTAGGED_AGAIN_FEATURES.map((name, k) => [name, x[k]])));
}

const PERCH = [1, 2, 3, 5];

describe('second look at sounds of no tagged bird', () => {
  it('finds that a sound came from where a sure one came from, whichever tracks they were cut from', () => {
    const [, same, elsewhere] = look([sound(0, 1, PERCH), sound(2, 5, PERCH), sound(1, 9, [3, 1, 4, 2])], [2, -1, -1]);
    expect(same.lagToUntaggedMs).toBeCloseTo(0, 9);
    expect(same.leadToUntaggedDb).toBeCloseTo(0, 9);
    expect(same.untaggedNearby).toBeCloseTo(1, 9);
    expect(elsewhere.lagToUntaggedMs).toBe(1);
    expect(elsewhere.leadToUntaggedDb).toBeGreaterThan(1);
  });

  it('never compares a sound with itself or another cut of it', () => {
    const rows = look([sound(0, 1, PERCH), sound(0, 1.02, PERCH), sound(3, 1.01, PERCH)], [3, 1, 1], [0, 0, 1]);
    for (const r of rows) {
      expect(r.lagToUntaggedMs).toBe(1);
      expect(r.untaggedNearby).toBe(0);
    }
    expect(rows.map((r) => r.otherCutLogOdds)).toEqual([1, 3, -8]);
  });

  it('needs three microphones in common', () => {
    const deaf = new Float64Array(4);
    const [, far] = look([sound(0, 1, PERCH), sound(0, 5, PERCH, { agreementZ: deaf })], [2, 2]);
    expect(far.lagToUntaggedMs).toBe(1);
    expect(far.untaggedNearby).toBeCloseTo(1, 9);
  });

  it('is as long as its names and finite', () => {
    const rows = computeUntaggedContext([sound(0, 1, PERCH)], [{ event: 0, candidate: 0 }], [first], [-3], gains);
    expect(rows[0].length).toBe(UNTAGGED_AGAIN_FEATURES.length);
    rows[0].forEach((v) => expect(Number.isFinite(v)).toBe(true));
  });
});

describe('sounds that are alike', () => {
  const spectrum = (first: number): Float64Array => Float64Array.from({ length: 96 }, (_, b) => (b >= first && b < first + 4 ? 1 : 0.01));
  const whistle = makeVoicePattern(spectrum(50), [0, 96]), other = makeVoicePattern(spectrum(20), [0, 96]);

  it('bear each other out though none is sure', () => {
    const rows = look([1, 5, 9, 13, 17].map((t, k) => sound(0, t, PERCH, { voice: k < 4 ? whistle : other })), [-1, -1, -1, -1, -1]);
    // Three others of the same voice, each a call with probability 1 / (1 + e).
    expect(rows[0].alikeCount).toBeCloseTo(Math.log2(1 + 3 / (1 + Math.E)), 9);
    expect(rows[0].alikeLogOdds).toBeCloseTo(-1, 9);
    expect(rows[4].alikeCount).toBe(0);
    expect(rows[4].alikeLogOdds).toBe(-3);
  });

  it('are not asked of cuts that are hardly calls, nor of other cuts of the same sound', () => {
    const rows = look([sound(0, 1, PERCH, { voice: whistle }), sound(1, 1.02, PERCH, { voice: whistle }), sound(0, 5, PERCH, { voice: whistle })], [-1, -1, -4], [0, 0, 1]);
    expect(rows.map((r) => r.alikeCount)).toEqual([0, 0, 0]);
  });

  it('are compared by voice with those that the first look was sure of', () => {
    const [, alike, unlike] = look([sound(0, 1, PERCH, { voice: whistle }), sound(0, 5, PERCH, { voice: whistle }), sound(0, 9, PERCH, { voice: other })], [2, -1, -1]);
    expect(alike.untaggedVoice).toBeCloseTo(1, 9);
    expect(unlike.untaggedVoice).toBeLessThan(0.3);
  });
});
