import { describe, expect, it } from 'vitest';
import { groupLeftovers } from '../../src/attribute/group-leftovers.js';
import { computeUntaggedFeatures, listCuts, UNTAGGED_FEATURES } from '../../src/attribute/untagged-features.js';
import type { Candidate } from '../../src/evidence/candidate.js';
import type { GainFit } from '../../src/model/fit-gains.js';
import { CALL_FEATURES } from '../../src/model/call-features.js';
import { makeCandidate } from '../model/make-candidate.js';

const gains: GainFit = { gainDb: new Float64Array(3), scaleDb: 1, leadCurveDb: Float64Array.from([7, 12, 17, 20]), observations: 10 };
const sound = (track: number, onsetSec: number, part: Partial<Candidate> = {}): Candidate => makeCandidate(3, { track, onsetSec, agreementZ: new Float64Array(3).fill(2), ...part });

function look(candidates: Candidate[], accepted: number[]): Record<string, number>[] {
  const free = candidates.map((_, n) => n).filter((n) => !accepted.includes(n));
  const events = groupLeftovers(candidates, free, gains.gainDb), cuts = listCuts(candidates, events);
  const rows = computeUntaggedFeatures(candidates, candidates.map(() => new Float64Array(CALL_FEATURES.length)), candidates.map((_, n) => (accepted.includes(n) ? 3 : -3)), events, cuts, accepted, gains);
  return rows.map((r) => Object.fromEntries(UNTAGGED_FEATURES.map((name, k) => [name, r[k]])));
}

describe('features of sounds of no tagged bird', () => {
  it('count the tracks on which the sound begins at once, and say where it is heard best', () => {
    const rows = look([sound(0, 1), sound(1, 1.004, { agreementZ: Float64Array.from([9, 0, 2]) }), sound(1, 1.006), sound(2, 1.05)], []);
    expect(rows.map((r) => r.onsetTracks)).toEqual([2, 2, 2, 1]);
    for (const r of rows) expect(r.bestMemberZ).toBe(9);
  });

  it('say how a cut lies in its sound: its share of the length, how long after the onset it begins, how far below the strongest cut it is', () => {
    const rows = look([sound(0, 1, { offsetSec: 1.4, ownedBins: 400 }), sound(0, 1.1, { offsetSec: 1.2 }), sound(0, 3)], []);
    expect(rows.map((r) => r.eventMs)).toEqual([400, 400, 100].map((v) => expect.closeTo(v, 6)));
    expect(rows.map((r) => r.shareOfEvent)).toEqual([1, 0.25, 1].map((v) => expect.closeTo(v, 9)));
    expect(rows.map((r) => r.sinceEventMs)).toEqual([0, 100, 0].map((v) => expect.closeTo(v, 6)));
    expect(rows.map((r) => r.belowStrongestDb)).toEqual([0, 10 * Math.log10(0.5), 0].map((v) => expect.closeTo(v, 9)));
    expect(rows.map((r) => r.members)).toEqual([2, 2, 1]);
  });
});
