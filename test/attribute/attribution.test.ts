import { describe, expect, it } from 'vitest';
import { attributeCandidates, UNTAGGED, type AttributedCall, type Models } from '../../src/attribute/attribution.js';
import type { Candidate } from '../../src/evidence/candidate.js';
import type { GainFit } from '../../src/model/fit-gains.js';
import { joinTrees, type Forest } from '../../src/model/forest.js';
import { makeCandidate } from '../model/make-candidate.js';

const gains: GainFit = { gainDb: new Float64Array(4), scaleDb: 1, leadCurveDb: Float64Array.from([7, 12, 17, 20]), observations: 100 };
const down = Float64Array.from([1, 0, 0, 0]);
const logit = (p: number): number => Math.log(p / (1 - p));

/** A sound as candidate of a track; no other track surely heard it, so that no two are one sound by their lags. */
const sound = (track: number, onsetSec: number, part: Partial<Candidate> = {}): Candidate => makeCandidate(4, { track, onsetSec, agreementZ: new Float64Array(4), ...part });

interface Said { own: number[]; untagged?: number; lost?: number }

/** What becomes of candidates of which the models say so: probabilities to be the wearer's call, and of every cut that is left over to be a call without a tag, or of a bird whose link was down. */
function attribute(candidates: Candidate[], { own, untagged = 0.1, lost = 0.1 }: Said): AttributedCall[] {
  const make = (): Forest => ({ features: [], bias: 0, calibration: { from: [], to: [] }, ...joinTrees([]) }), models: Models = { first: make(), second: make(), own: make(), untagged: make(), untaggedAgain: make(), lost: make() };
  // None is so unlikely that a later look would not ask about it: every look at candidates is asked about all, in order.
  const said = (forest: Forest, k: number): number => (forest === models.lost ? lost : forest === models.untagged || forest === models.untaggedAgain ? untagged : own[k]);
  return attributeCandidates(candidates, gains, { ...models, scoreRows: (forest, count, getRow) => Float64Array.from({ length: count }, (_, k) => { getRow(k); return logit(said(forest, k)); }) }).calls;
}

describe('the second most probable caller of a call', () => {
  it('is the likeliest bird that may have made the same sound', () => {
    const [call, ...others] = attribute([sound(0, 1), sound(1, 1.01), sound(2, 1.02)], { own: [0.8, 0.05, 0.15] });
    expect(others).toEqual([]);
    expect(call).toMatchObject({ caller: 0, candidate: 0, runnerUp: 2 });
    expect(call.probability).toBeCloseTo(0.8, 9);
    expect(call.runnerUpProbability).toBeCloseTo(0.15, 9);
  });

  it('is no bird whose sound hardly overlaps it, however likely that one is', () => {
    // 40 ms of 100 are common with the second, 80 ms with the third.
    const [call] = attribute([sound(0, 1), sound(1, 1.06), sound(2, 1.02)].sort((a, b) => a.onsetSec - b.onsetSec), { own: [0.8, 0.1, 0.4] });
    expect(call.runnerUp).toBe(2);
    expect(attribute([sound(0, 1), sound(1, 1.06)], { own: [0.8, 0.4] })[0].runnerUp).toBe(UNTAGGED);
  });

  it('is no bird that calls itself at the time', () => {
    const calls = attribute([sound(0, 1), sound(1, 1), sound(2, 1)], { own: [0.8, 0.7, 0.1] });
    expect(calls.map((c) => [c.caller, c.runnerUp])).toEqual([[0, 2], [1, 2]]);
    for (const c of calls) expect(c.runnerUpProbability).toBeCloseTo(0.1, 9);
  });

  it('is a bird without a tag where no other bird comes into question, at half of what is left', () => {
    const [call] = attribute([sound(0, 1)], { own: [0.8] });
    expect(call.runnerUp).toBe(UNTAGGED);
    expect(call.runnerUpProbability).toBeCloseTo(0.1, 9);
  });

  it('of a call without a tag is the wearer of the track it was cut from', () => {
    const [call] = attribute([sound(2, 1)], { own: [0.2], untagged: 0.6 });
    expect(call).toMatchObject({ caller: UNTAGGED, candidate: 0, runnerUp: 2 });
    expect(call.probability).toBeCloseTo(0.6, 9);
    expect(call.runnerUpProbability).toBeCloseTo(0.2, 9);
  });

  it('of a call of a bird whose link was down is a bird without a tag', () => {
    const [, call] = attribute([sound(0, 1), sound(1, 5, { lostShare: down })], { own: [0.9, 0.02], untagged: 0.25, lost: 0.7 });
    expect(call).toMatchObject({ caller: 0, candidate: 1, runnerUp: UNTAGGED });
    expect(call.probability).toBeCloseTo(0.7, 9);
    expect(call.runnerUpProbability).toBeCloseTo(0.25, 9);
  });

  it('never has more than the probability that the caller leaves', () => {
    const rivals = attribute([sound(0, 1), sound(1, 1)], { own: [0.9, 0.4] }), untagged = attribute([sound(2, 1)], { own: [0.45], untagged: 0.9 });
    const lost = attribute([sound(0, 1), sound(1, 5, { lostShare: down })], { own: [0.9, 0.02], untagged: 0.8, lost: 0.9 }).slice(1);
    for (const [call] of [rivals, untagged, lost]) {
      expect(call.probability).toBeCloseTo(0.9, 9);
      expect(call.runnerUpProbability).toBeCloseTo(0.1, 9);
    }
    expect([rivals, untagged, lost].map(([call]) => [call.caller, call.runnerUp])).toEqual([[0, 1], [UNTAGGED, 2], [0, UNTAGGED]]);
  });
});
