import { describe, expect, it } from 'vitest';
import type { Candidate } from '../../src/evidence/candidate.js';
import { makeVoicePattern } from '../../src/evidence/voice-pattern.js';
import type { GainFit } from '../../src/model/fit-gains.js';
import { collectTemplates } from '../../src/model/templates.js';
import { prepareVoiceFeatures, VOICE_FEATURES } from '../../src/model/voice-features.js';
import { compareVoices, compareWithBird, readVoices, UNKNOWN_VOICE } from '../../src/model/voices.js';
import { makeRandom } from './clock-synthetic.js';
import { makeCandidate, NO_VOICE } from './make-candidate.js';

const gains: GainFit = { gainDb: new Float64Array(3), scaleDb: 1, leadCurveDb: Float64Array.from([7, 12, 17, 20]), observations: 100 };

/** A stack of harmonics of `f` bins, each call a little different. */
function sing(f: number, seed: number): Float64Array {
  const { uniform } = makeRandom(seed);
  const spectrum = new Float64Array(140);
  for (let h = 1; h * f < 136; h++) for (const d of [-1, 0, 1]) spectrum[Math.round(h * f) + d] += (0.6 + 0.8 * uniform()) * (d === 0 ? 1 : 0.3);
  return makeVoicePattern(spectrum, [4, 132]);
}

const PITCH = [6.2, 7.4, 9];
let next = 0;
function call(track: number, onsetSec: number, part: Partial<Candidate> = {}, bird = track): Candidate {
  return makeCandidate(3, { track, onsetSec, levelDb: Float64Array.from([-60, -60, -60].map((v, j) => (j === track ? -40 : v + 3 * j))), voice: sing(PITCH[bird], next++), ...part });
}

function look(candidates: Candidate[], logOdds: number[]): Record<(typeof VOICE_FEATURES)[number], number>[] {
  const describeVoice = prepareVoiceFeatures(candidates, readVoices(candidates), logOdds, collectTemplates(candidates, logOdds, gains), gains), rows = candidates.map((_, n) => describeVoice(n));
  return rows.map((r) => Object.fromEntries(VOICE_FEATURES.map((name, k) => [name, r[k]])) as Record<(typeof VOICE_FEATURES)[number], number>);
}

/** Four sure calls of each bird, one after another. */
const known = (): Candidate[] => Array.from({ length: 12 }, (_, k) => call(k % 3, 1 + k));

describe('voices', () => {
  it('are compared by the cosine of their patterns', () => {
    const candidates = [call(0, 1), call(0, 2), call(1, 3), makeCandidate(3, { track: 2, onsetSec: 4, voice: NO_VOICE })];
    const v = readVoices(candidates);
    expect(compareVoices(v, 0, 0)).toBeCloseTo(1, 12);
    expect(compareVoices(v, 0, 1)).toBe(compareVoices(v, 1, 0));
    expect(compareVoices(v, 0, 1)).toBeGreaterThan(0.8);
    expect(compareVoices(v, 0, 2)).toBeLessThan(0.4);
    expect(compareVoices(v, 0, 3)).toBe(0);
  });

  it('are compared with the two most alike calls of a bird, none of them the same sound', () => {
    const candidates = [call(0, 1), call(0, 3), call(0, 5), call(0, 5.05), call(1, 7)];
    const v = readVoices(candidates), [list] = collectTemplates(candidates, [3, 3, 3, 3, 3], gains);
    // Of the two cuts at 5 s one is a template; neither may be compared with it.
    const two = [compareVoices(v, 2, 0), compareVoices(v, 2, 1)];
    expect(compareWithBird(v, candidates, 2, list)).toBeCloseTo((two[0] + two[1]) / 2, 12);
    expect(compareWithBird(v, candidates, 2, [])).toBe(UNKNOWN_VOICE);
  });
});

describe('features of the voice', () => {
  it("speak for the bird whose voice it is, where a neighbour's call is taken for the wearer's own", () => {
    const candidates = [...known(), call(0, 20), call(0, 21, {}, 1), call(1, 21)];
    const [own, ghost, right] = look(candidates, [...new Array(12).fill(3), 1, 1, 1]).slice(12);
    expect(own.voiceLead).toBeGreaterThan(0.3);
    expect(own.voiceOdds).toBeGreaterThan(1);
    expect(ghost.voiceLead).toBeLessThan(-0.3);
    expect(ghost.voiceLeadOfAll).toBe(ghost.voiceLead);
    expect(ghost.voiceOdds).toBeLessThan(-1);
    expect(ghost.rivalVoiceOdds).toBeGreaterThan(1);
    expect(right.voiceOdds).toBeGreaterThan(1);
    expect(right.rivalVoiceOdds).toBeLessThan(-1);
    // The neighbour's call counts among the wearer's sure ones here, and is nobody's but the neighbour's.
    expect(own.voiceTelling).toBeGreaterThan(0.9);
    expect(own.pairTelling).toBeGreaterThan(1);
  });

  it('say little where birds sound alike', () => {
    const alike = Array.from({ length: 12 }, (_, k) => call(k % 3, 1 + k, {}, 0));
    const [row] = look([...alike, call(0, 20, {}, 0)], [...new Array(12).fill(3), 1]).slice(12);
    expect(Math.abs(row.voiceOdds)).toBeLessThan(1);
    expect(row.pairTelling).toBeLessThan(0.7);
  });

  it('say nothing where nothing is known, and are finite', () => {
    const rows = look([call(0, 1), call(1, 1.01), makeCandidate(3, { track: 2, onsetSec: 4, voice: NO_VOICE, lostShare: Float64Array.from([1, 1, 0]) })], [-1, -1, -7]);
    for (const r of rows) {
      expect([r.voiceLead, r.voiceLeadOfAll, r.rivalVoiceLead, r.voiceOdds, r.rivalVoiceOdds, r.pairTelling, r.clearVoiceLead]).toEqual([0, 0, 0, 0, 0, 0, 0]);
      expect([r.ownVoice, r.rivalVoice, r.clearVoice]).toEqual([UNKNOWN_VOICE, UNKNOWN_VOICE, UNKNOWN_VOICE]);
      for (const name of VOICE_FEATURES) expect(Number.isFinite(r[name]), name).toBe(true);
    }
  });

  it('know what is left of a call that has just ended', () => {
    const rows = look([call(1, 1, { offsetSec: 1.1 }), call(2, 1.25, { offsetSec: 1.3 }, 1), call(2, 3, {}, 1)], [3, -1, -1]);
    expect(rows[1].beforeVoice).toBeGreaterThan(0.8);
    expect(rows[1].beforeMs).toBeCloseTo(150, 6);
    expect([rows[2].beforeVoice, rows[2].beforeMs]).toEqual([0, 400]);
  });
});
