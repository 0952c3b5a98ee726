import { describe, expect, it } from 'vitest';
import { computeUntaggedContext, UNTAGGED_AGAIN_FEATURES } from '../../src/attribute/untagged-context.js';
import { CALL_FEATURES } from '../../src/model/call-features.js';
import { EVENT_FEATURES, UNTAGGED_FEATURES } from '../../src/attribute/untagged-features.js';
import type { Candidate } from '../../src/evidence/candidate.js';
import { makeVoicePattern } from '../../src/evidence/voice-pattern.js';
import type { GainFit } from '../../src/model/fit-gains.js';
import { CONTEXT_FEATURES } from '../../src/model/context-features.js';
import { compareVoices, readVoices } from '../../src/model/voices.js';
import { makeCandidate } from '../model/make-candidate.js';

const gains: GainFit = { gainDb: Float64Array.from([0, 0, 0, 0]), scaleDb: 1, leadCurveDb: Float64Array.from([7, 12, 17, 20]), observations: 100 };
const first = new Float64Array(UNTAGGED_FEATURES.length).fill(3, CALL_FEATURES.length);

/** A sound from a place with these arrival times (ms) at the four microphones, cut from a track. */
const sound = (track: number, onsetSec: number, arrivalMs: number[], part: Partial<Candidate> = {}): Candidate => makeCandidate(4, {
  track, onsetSec, offsetSec: onsetSec + 0.1, lagSec: Float64Array.from(arrivalMs, (v) => (v - arrivalMs[track]) / 1e3), levelDb: Float64Array.from(arrivalMs, (v) => -40 - 4 * v), ...part,
});

const FROM_CANDIDATE = 7, FROM_EVENT = 3;

function describeCuts(candidates: Candidate[], logOdds: number[], events = candidates.map((_, k) => k), accepted: number[] = []): readonly Float64Array[] {
  const free = candidates.map((_, n) => n).filter((n) => !accepted.includes(n)), cuts = free.map((candidate) => ({ event: events[candidate], candidate }));
  return computeUntaggedContext(
    candidates, { cuts, rows: cuts.map(() => first), logOdds: free.map((n) => logOdds[n]) }, cuts.map((_, k) => k), accepted, gains, readVoices(candidates),
    (_, row) => { row.fill(FROM_CANDIDATE, 0, CONTEXT_FEATURES.length); },
  );
}

function look(...input: Parameters<typeof describeCuts>): Record<string, number>[] {
  return describeCuts(...input).map((x) => Object.fromEntries(UNTAGGED_AGAIN_FEATURES.map((name, k) => [name, x[k]])));
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

  it('knows how many sounds of the recording the first look took for calls, each by how sure it was', () => {
    // All from 2 on count as one call, 1 and 0 as a half and a third; of two cuts of one sound the surer one counts, and what is less likely does not.
    const rows = look([1, 5, 9, 13, 13.02, 17].map((t) => sound(0, t, PERCH)), [3, 2, 1, 0, -0.5, -1], [0, 1, 2, 3, 3, 4]);
    for (const r of rows) expect(r.surelyUntagged).toBeCloseTo(Math.log2(1 + 1 + 1 + 1 / 2 + 1 / 3), 9);
    expect(look([sound(0, 1, PERCH), sound(0, 5, PERCH)], [-1, -2]).map((r) => r.surelyUntagged)).toEqual([0, 0]);
  });

  it('compares the spectrum with the most similar of the sure ones', () => {
    const tone = (...bands: number[]): Float64Array => Float64Array.from({ length: 16 }, (_, b) => (bands.includes(b) ? Math.sqrt(1 / bands.length) : 0));
    const rows = look([sound(0, 1, PERCH, { bands: tone(3) }), sound(0, 5, PERCH, { bands: tone(9) }), sound(0, 9, PERCH, { bands: tone(3, 4) }), sound(0, 13, PERCH, { bands: tone(9) }), sound(0, 17, PERCH, { bands: tone(12) })], [2, 2, -1, -1, -1]);
    expect(rows[2].likeUntagged).toBeCloseTo(Math.sqrt(0.5), 9);
    expect(rows[3].likeUntagged).toBeCloseTo(1, 9);
    expect(rows[4].likeUntagged).toBe(0);
  });

  it('needs three microphones in common', () => {
    const deaf = new Float64Array(4);
    const [, far] = look([sound(0, 1, PERCH), sound(0, 5, PERCH, { agreementZ: deaf })], [2, 2]);
    expect(far.lagToUntaggedMs).toBe(1);
    expect(far.untaggedNearby).toBeCloseTo(1, 9);
  });

  it('is as long as its names and finite', () => {
    const [row] = describeCuts([sound(0, 1, PERCH)], [-3]);
    expect(row.length).toBe(UNTAGGED_AGAIN_FEATURES.length);
    row.forEach((v) => expect(Number.isFinite(v)).toBe(true));
  });

  it('holds the features of the candidate, then those of its event', () => {
    const [row] = describeCuts([sound(0, 1, PERCH)], [-3]), own = CONTEXT_FEATURES.length, both = own + EVENT_FEATURES.length;
    expect(new Set(row.subarray(0, own))).toEqual(new Set([FROM_CANDIDATE]));
    expect(new Set(row.subarray(own, both))).toEqual(new Set([FROM_EVENT]));
  });

  it('is of those cuts that are asked about', () => {
    const candidates = [sound(0, 1, PERCH), sound(0, 5, PERCH), sound(0, 9, PERCH)], cuts = candidates.map((_, candidate) => ({ event: candidate, candidate }));
    const rows = computeUntaggedContext(candidates, { cuts, rows: cuts.map(() => first), logOdds: [1, 2, 3] }, [2], [], gains, readVoices(candidates), () => {});
    expect(rows.map((r) => r[UNTAGGED_AGAIN_FEATURES.indexOf('untaggedLogOdds')])).toEqual([3]);
  });
});

describe('what is left of calls', () => {
  const stack = makeVoicePattern(Float64Array.from({ length: 96 }, (_, b) => (b % 8 === 0 ? 1 : 0.01)), [0, 96]), whistle = makeVoicePattern(Float64Array.from({ length: 96 }, (_, b) => (b > 50 && b < 55 ? 1 : 0.01)), [0, 96]);

  it('is of the voice of a call that has just ended; another call is not', () => {
    const candidates = [sound(0, 1, PERCH, { voice: stack }), sound(1, 1.3, PERCH, { voice: stack }), sound(1, 1.45, PERCH, { voice: whistle }), sound(1, 5, PERCH, { voice: stack })];
    const unlike = compareVoices(readVoices(candidates), 0, 2), [left, other, later] = look(candidates, [3, -1, -1, -1], undefined, [0]);
    expect(unlike).toBeLessThan(0.3);
    expect(left.acceptedVoice).toBeCloseTo(1, 9);
    expect(other.acceptedVoice).toBeCloseTo(unlike, 9);
    // Half a second later nothing of a call is left.
    expect(later.acceptedVoice).toBe(-1);
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
