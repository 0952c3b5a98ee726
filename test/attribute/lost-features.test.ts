import { describe, expect, it } from 'vitest';
import { groupLeftovers } from '../../src/attribute/group-leftovers.js';
import { collectLostClaims, LOST_FEATURES } from '../../src/attribute/lost-features.js';
import { listCuts } from '../../src/attribute/untagged-features.js';
import type { Candidate } from '../../src/evidence/candidate.js';
import type { GainFit } from '../../src/model/fit-gains.js';
import { readVoices } from '../../src/model/voices.js';
import { makeCandidate } from '../model/make-candidate.js';

const gains: GainFit = { gainDb: new Float64Array(4), scaleDb: 1, leadCurveDb: Float64Array.from([7, 12, 17, 20]), observations: 100 };
/** Arrival at the four microphones, ms, of calls of the first and of the second bird. */
const PERCH = [[0, 1, 1.5, 2], [1.1, 0, 0.8, 1.4]];

/** A call of a bird as candidate of a track: levels fall by 3 dB a millisecond beyond 15 dB. */
function call(bird: number, track: number, onsetSec: number, part: Partial<Candidate> = {}): Candidate {
  const at = PERCH[bird];
  return makeCandidate(4, { track, onsetSec, lagSec: Float64Array.from(at, (v) => (v - at[track]) / 1e3), levelDb: Float64Array.from(at, (v) => (v === 0 ? -40 : -55 - 3 * v)), ...part });
}

const down = Float64Array.from([1, 0, 0, 0]);

function claim(candidates: Candidate[], free: number[]): { candidate: number; track: number; row: Record<string, number> }[] {
  const logOdds = candidates.map((_, n) => (free.includes(n) ? -3 : 3));
  const events = groupLeftovers(candidates, free, gains.gainDb), cuts = listCuts(candidates, events);
  return collectLostClaims(candidates, logOdds, events, cuts, cuts.map(() => -2), gains, readVoices(candidates))
    .map(({ cut, track, features }) => ({ candidate: cuts[cut].candidate, track, row: Object.fromEntries(LOST_FEATURES.map((name, k) => [name, features[k]])) }));
}

describe('claims of birds whose link is down', () => {
  const known = [call(0, 0, 1), call(1, 1, 2), call(0, 0, 3), call(1, 1, 4)];

  it('are made for every cut of a sound, each with its own measures', () => {
    const cut = call(0, 1, 10, { lostShare: down }), longer = call(0, 1, 9.9, { offsetSec: 10.3, lostShare: down, ownedBins: 400 });
    const claims = claim([...known, longer, cut], [4, 5]);
    expect(claims.map((c) => [c.candidate, c.track])).toEqual([[4, 0], [5, 0]]);
    expect(claims[1].row.durationMs).toBeCloseTo(100, 6);
    expect(claims[1].row.shareOfEvent).toBeCloseTo(0.25, 6);
    expect(claims[1].row.sinceEventMs).toBeCloseTo(100, 6);
    expect(claims[1].row.belowStrongestDb).toBeCloseTo(10 * Math.log10(0.5), 9);
    expect([claims[1].row.ownLogOdds, claims[1].row.untaggedLogOdds, claims[1].row.members]).toEqual([-3, -2, 2]);
  });

  it('know how calls of the bird arrive at the microphones that still hear', () => {
    // From where the first bird sits, and from elsewhere.
    const [mine] = claim([...known, call(0, 1, 10, { lostShare: down })], [4]);
    expect(mine.row.lagMs).toBeCloseTo(0, 9);
    expect(mine.row.leadDb).toBeCloseTo(0, 9);
    expect(mine.row.expectedStrengthDb).toBeCloseTo(0, 9);
    const [other] = claim([...known, call(1, 2, 10, { lostShare: down })], [4]);
    // Seen from the third microphone the others hear it 0.3 ms earlier and 0.1 ms later than they heard the first bird.
    expect(other.row.lagMs).toBeCloseTo(Math.sqrt(0.05), 9);
    expect(other.row.otherLagMs).toBeCloseTo(0, 9);
  });

  it('know how surely other microphones than its own heard the sound, and how many did', () => {
    // The lost link hears nothing; the track that the sound was cut from agrees with itself, which says nothing.
    const [{ row }] = claim([...known, call(0, 1, 10, { lostShare: down, agreementZ: Float64Array.from([0, 50, 9, 4]) })], [4]);
    expect([row.bestZ, row.heard]).toEqual([9, 1]);
    const [{ row: unheard }] = claim([...known, call(0, 1, 10, { lostShare: down, agreementZ: Float64Array.from([0, 50, 0, 0]) })], [4]);
    expect([unheard.bestZ, unheard.heard]).toEqual([0, 0]);
  });

  it('know how far away in time the most similar call of the bird is, before or after', () => {
    const cut = call(0, 1, 10, { lostShare: down }), since = (...others: Candidate[]): number => {
      const candidates = [...others, cut].sort((a, b) => a.onsetSec - b.onsetSec);
      return claim(candidates, [candidates.indexOf(cut)])[0].row.sinceTemplateSec;
    };
    expect(since(call(0, 0, 4))).toBeCloseTo(6, 9);
    expect(since(call(0, 0, 13))).toBeCloseTo(3, 9);
    // From elsewhere, then from where the sound came from.
    const elsewhere = call(0, 0, 9, { levelDb: Float64Array.from([-40, -50, -70, -55]) });
    expect(since(elsewhere, call(0, 0, 13))).toBeCloseTo(3, 9);
  });

  it('are not made where the link is up, for the track the sound was cut from, or for a bird of which nothing is known nearby in time', () => {
    expect(claim([...known, call(0, 1, 10)], [4])).toEqual([]);
    expect(claim([...known, call(0, 0, 10, { lostShare: down })], [4])).toEqual([]);
    expect(claim([...known, call(0, 1, 10, { lostShare: Float64Array.from([0, 0, 0, 1]) })], [4])).toEqual([]);
    expect(claim([...known, call(0, 1, 400, { lostShare: down })], [4])).toEqual([]);
  });
});
