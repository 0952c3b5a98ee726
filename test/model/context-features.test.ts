import { describe, expect, it } from 'vitest';
import type { Candidate } from '../../src/evidence/candidate.js';
import { CALL_FEATURES, computeCallFeatures } from '../../src/model/call-features.js';
import { CONTEXT_FEATURES, prepareContextFeatures } from '../../src/model/context-features.js';
import type { GainFit } from '../../src/model/fit-gains.js';
import { collectTemplates } from '../../src/model/templates.js';
import { makeCandidate } from './make-candidate.js';

const gains: GainFit = { gainDb: Float64Array.from([0, 0, 0, 0]), scaleDb: 1, leadCurveDb: Float64Array.from([7, 12, 17, 20]), observations: 100 };
/** A call of bird `track` from a place with these lags (ms) after its own track. */
const call = (track: number, onsetSec: number, lagMs: number[], part: Partial<Candidate> = {}): Candidate => makeCandidate(4, {
  track, onsetSec, lagSec: Float64Array.from(lagMs, (v) => v / 1e3), levelDb: Float64Array.from(lagMs, (v) => (v === 0 ? -40 : -40 - 12 - 3 * v)), ...part,
});
const LAGS = [[0, 1, 1.5, 2], [1.1, 0, 0.8, 1.4], [1.6, 0.9, 0, 0.7]];

function describeAll(candidates: Candidate[], odds: number[]): Float64Array[] {
  const describe = prepareContextFeatures(candidates, computeCallFeatures(candidates, gains), odds, gains);
  return candidates.map((_, n) => { const row = new Float64Array(CONTEXT_FEATURES.length).fill(NaN); describe(n, row); return row; });
}

function look(candidates: Candidate[], odds: number[]): Record<string, number>[] {
  return describeAll(candidates, odds)
    .map((x) => Object.fromEntries(CONTEXT_FEATURES.map((name, k) => [name, x[k]])));
}

describe('features', () => {
  it('are as many as their names, all finite, for any candidate', () => {
    const odd = [
      call(0, 1, LAGS[0]), call(1, 1.02, LAGS[1], { lostShare: Float64Array.from([1, 0, 1, 1]) }), makeCandidate(4, { track: 2, onsetSec: 1.03, offsetSec: 1.031, ownedBins: 1, ownedShare: 0, agreementZ: new Float64Array(4) }),
      call(3, 2, [1, 1, 1, 0], { shared: 1 }),
    ];
    const first = computeCallFeatures(odd, gains);
    const second = describeAll(odd, [3, -2, 0, 1]);
    for (const x of first) expect(x.length).toBe(CALL_FEATURES.length);
    for (const x of second) {
      expect(x.length).toBe(CONTEXT_FEATURES.length);
      x.forEach((v, k) => expect(Number.isFinite(v), CONTEXT_FEATURES[k]).toBe(true));
    }
  });
});

describe('templates', () => {
  it('are sure calls with their own link up, one per sound', () => {
    const candidates = [
      call(0, 1, LAGS[0]), call(0, 1.02, LAGS[0]), call(0, 5, LAGS[0]), call(0, 9, LAGS[0], { shared: 1 }), call(0, 12, LAGS[0], { lostShare: Float64Array.from([0.2, 0, 0, 0]) }), call(1, 5.01, LAGS[1]),
    ];
    const templates = collectTemplates(candidates, [2, 4, 0.5, 5, 5, 3], gains);
    // Of the two cuts at 1 s the surer one stands; 5 s is not sure enough.
    expect(templates.map((list) => list.map((t) => t.candidate))).toEqual([[1], [5], [], []]);
    expect([...templates[0][0].lagMs]).toEqual([0, 1, 1.5, 2]);
    expect(templates[0][0].leadDb[1]).toBeCloseTo(15, 9);
  });

  it('never compare a sound with itself: a single call has nothing to be compared with', () => {
    const [alone] = look([call(0, 1, LAGS[0])], [5]);
    expect(alone.lagToOwnMs).toBe(0.5);
    expect(alone.lagToOthersMs).toBe(0.5);
    // Nor with another cut of the same sound.
    const [cut] = look([call(0, 1, LAGS[0]), call(0, 1.03, LAGS[0], { offsetSec: 1.08 })], [5, 1]);
    expect(cut.lagToOwnMs).toBe(0.5);
  });

  it('tell a call from where its bird sits from one from elsewhere', () => {
    const moved = LAGS[0].map((v, j) => (j === 0 ? 0 : v + 0.3));
    const [, near, far] = look([call(0, 1, LAGS[0]), call(0, 3, LAGS[0].map((v) => v + (v ? 0.01 : 0))), call(0, 6, moved)], [5, -3, -3]);
    expect(near.lagToOwnMs).toBeCloseTo(0.01, 6);
    expect(far.lagToOwnMs).toBeCloseTo(0.3, 6);
  });

  it('tell that a sound on one track came from another bird', () => {
    // Bird 1's call, cut on track 0: lags seen from there.
    const stray = call(0, 6, LAGS[1].map((v) => v - LAGS[1][0]));
    const [, , x] = look([call(1, 1, LAGS[1]), call(0, 3, LAGS[0]), stray], [5, 5, -3]);
    expect(x.lagToOthersMs).toBeCloseTo(0, 6);
    expect(x.ownCloserMs).toBeLessThan(-0.4);
  });

  it('are looked for within 150 s and no further', () => {
    const [, x] = look([call(0, 1, LAGS[0]), call(0, 150, LAGS[0])], [5, -3]);
    const [, y] = look([call(0, 1, LAGS[0]), call(0, 152, LAGS[0])], [5, -3]);
    expect(x.lagToOwnMs).toBeCloseTo(0, 9);
    expect(y.lagToOwnMs).toBe(0.5);
  });
});

describe('rivals', () => {
  it('are candidates of other tracks at the same time; the surest counts', () => {
    const [x] = look([call(0, 1, LAGS[0]), call(1, 1.01, LAGS[1]), call(2, 1.02, LAGS[2]), call(3, 1.5, [1, 1, 1, 0])], [0, 2, 4, 7]);
    expect(x.rivalLogOdds).toBe(4);
    const [y] = look([call(0, 1, LAGS[0]), call(1, 1.2, LAGS[1])], [0, 2]);
    expect(y.rivalLogOdds).toBe(-8);
  });
});
