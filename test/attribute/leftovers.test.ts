import { describe, expect, it } from 'vitest';
import { findLeftovers } from '../../src/attribute/attribution.js';
import { groupLeftovers, measureStrength } from '../../src/attribute/group-leftovers.js';
import type { Candidate } from '../../src/evidence/candidate.js';
import type { GainFit } from '../../src/model/fit-gains.js';
import { makeRandom } from '../model/clock-synthetic.js';
import { makeCandidate } from '../model/make-candidate.js';

const gains: GainFit = { gainDb: new Float64Array(3), scaleDb: 1, leadCurveDb: Float64Array.from([7, 12, 17, 20]), observations: 10 };
const sound = (track: number, onsetSec: number, offsetSec: number, levelDb: number, part: Partial<Candidate> = {}): Candidate => makeCandidate(3, {
  track, onsetSec, offsetSec, levelDb: Float64Array.from({ length: 3 }, (_, j) => (j === track ? levelDb : -80)), ...part,
});

describe('sounds that are left over', () => {
  it('are grouped around the strongest, across tracks; an event reaches as far as members within 9 dB', () => {
    const candidates = [sound(0, 1, 1.2, -40), sound(1, 0.98, 1.19, -45), sound(2, 0.9, 1.3, -55), sound(1, 3, 3.1, -50)];
    const events = groupLeftovers(candidates, [0, 1, 2, 3], gains.gainDb);
    expect(events.map((e) => [e.lead, e.onsetSec, e.offsetSec])).toEqual([[0, 0.98, 1.2], [3, 3, 3.1]]);
    expect([...events[0].members].sort()).toEqual([0, 1, 2]);
  });

  it('are compared with the gains taken out', () => {
    const candidates = [sound(0, 1, 1.2, -40), sound(1, 1, 1.2, -45)];
    expect(groupLeftovers(candidates, [0, 1], [10, 0, 0])[0].lead).toBe(1);
    expect(measureStrength(candidates[0], [10, 0, 0])).toBeCloseTo(-50 + 10 * Math.log10(200), 9);
  });

  it('each belong to exactly one event', () => {
    const { uniform } = makeRandom(4);
    const candidates = Array.from({ length: 200 }, () => { const t = 20 * uniform(); return sound(Math.floor(3 * uniform()), t, t + 0.05 + 0.3 * uniform(), -60 + 30 * uniform()); })
      .sort((a, b) => a.onsetSec - b.onsetSec);
    const free = candidates.map((_, n) => n).filter((n) => n % 3 !== 0);
    const events = groupLeftovers(candidates, free, gains.gainDb);
    expect(events.flatMap((e) => e.members).sort((a, b) => a - b)).toEqual(free);
    for (const e of events) for (const n of e.members) expect(measureStrength(candidates[n], gains.gainDb)).toBeLessThanOrEqual(measureStrength(candidates[e.lead], gains.gainDb));
  });

  it('are what no accepted call of the same track covers, and all shared sound', () => {
    const candidates = [sound(0, 1, 1.2, -40), sound(0, 1.05, 1.15, -42), sound(1, 1.05, 1.15, -60), sound(0, 1.02, 1.18, -60, { shared: 1 }), sound(0, 5, 5.2, -50)];
    const events = findLeftovers(candidates, [0], [0.9, 0.3, 0.1, 0, 0.2], gains);
    expect(events.flatMap((e) => e.members).sort()).toEqual([2, 3, 4]);
  });

  it('are the same as by comparing everything with everything', () => {
    const { uniform } = makeRandom(9);
    const candidates = Array.from({ length: 300 }, () => { const t = 60 * uniform(); return sound(Math.floor(3 * uniform()), t, t + 0.05 + 1.4 * uniform() ** 3, -60 + 30 * uniform()); })
      .sort((a, b) => a.onsetSec - b.onsetSec);
    const p = candidates.map(() => uniform());
    const accepted = candidates.map((_, n) => n).filter((n) => p[n] > 0.8);
    const overlap = (a: Candidate, b: Candidate): number => (Math.min(a.offsetSec, b.offsetSec) - Math.max(a.onsetSec, b.onsetSec)) / Math.min(a.offsetSec - a.onsetSec, b.offsetSec - b.onsetSec);
    const free = candidates.map((_, n) => n).filter((n) => p[n] < 0.5 && !accepted.some((m) => candidates[m].track === candidates[n].track && overlap(candidates[n], candidates[m]) > 0.3));
    expect(findLeftovers(candidates, accepted, p, gains).flatMap((e) => e.members).sort((a, b) => a - b)).toEqual(free);
  });
});
