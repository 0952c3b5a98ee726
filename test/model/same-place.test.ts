import { describe, expect, it } from 'vitest';
import type { Candidate } from '../../src/evidence/candidate.js';
import type { GainFit } from '../../src/model/fit-gains.js';
import { BESIDE_FEATURES, comparePlaces } from '../../src/model/same-place.js';
import { makeTemplate } from '../../src/model/templates.js';
import { makeCandidate } from './make-candidate.js';

const gains: GainFit = { gainDb: new Float64Array(4), scaleDb: 1, leadCurveDb: Float64Array.from([7, 12, 17, 20]), observations: 100 };

interface Voice { lagMs: number[]; ownDb: number; low: number; bands: Float64Array }
const flat = new Float64Array(16).fill(0.25), high = Float64Array.from(flat, (_, k) => (k >= 8 ? Math.sqrt(1 / 8) : 0));
const wearer: Voice = { lagMs: [0, 1, 1.5, 2], ownDb: -40, low: 6, bands: flat };
/** A hand's breadth aside: nearer to one microphone, farther from another, 6 dB quieter, without sound through the body. */
const neighbour: Voice = { lagMs: [0, 0.8, 1.7, 2], ownDb: -46, low: 0, bands: high };

function call(onsetSec: number, v: Voice): Candidate {
  return makeCandidate(4, {
    track: 0, onsetSec, lagSec: Float64Array.from(v.lagMs, (t) => t / 1e3), levelDb: Float64Array.from([v.ownDb, -60, -60, -60]), tiltDb: Float64Array.from([v.low + 1, 1, 1, 1]), bands: v.bands,
  });
}

function compare(voices: readonly Voice[], mine: Voice): Record<(typeof BESIDE_FEATURES)[number], number> & { leadDb: number; strengthDb: number; count: number } {
  const candidates = [...voices, mine].map((v, k) => call(k, v)), n = voices.length;
  const near = voices.map((_, k) => makeTemplate(candidates[k], k, gains));
  const { beside, ...place } = comparePlaces(candidates, near, candidates.map((c) => c.levelDb[0]), makeTemplate(candidates[n], n, gains));
  return { ...(Object.fromEntries(BESIDE_FEATURES.map((name, k) => [name, beside[k]])) as Record<(typeof BESIDE_FEATURES)[number], number>), ...place };
}

describe('calls from one place and from beside it', () => {
  const mixed = [wearer, neighbour, wearer, wearer, neighbour, wearer, neighbour];

  it('shows a bird without a tag beside the wearer: its calls lead by less, are of another voice, and come between those of the wearer', () => {
    const row = compare(mixed, neighbour);
    expect(row.besideLeadDb).toBeCloseTo(6, 9);
    expect(row.besideStrengthDb).toBeCloseTo(6, 9);
    expect(row.besideTiltDb).toBeCloseTo(6, 9);
    expect(row.besideCount).toBeCloseTo(Math.log2(5), 9);
    expect(row.placeTurns).toBe(5);
    expect(row.besideLikeness).toBeCloseTo(8 * 0.25 * Math.sqrt(1 / 8) - 1, 9);
    // Root mean square of 0.2, 0.2 and 0 ms.
    expect(row.besideMs).toBeCloseTo(Math.sqrt(0.08 / 3), 9);
    expect(compare(mixed, wearer).besideLeadDb).toBeCloseTo(-6, 9);
  });

  it('shows a wearer that moved once by a single turn', () => {
    const moved: Voice = { ...wearer, lagMs: neighbour.lagMs };
    expect(compare([wearer, wearer, wearer, moved, moved, moved], moved)).toMatchObject({ placeTurns: 1, besideLeadDb: 0, besideTiltDb: 0 });
  });

  it('compares with the upper fifth of its own place, and states plain values where nothing is beside', () => {
    const far: Voice = { ...wearer, lagMs: [0, 3, 1, 2] };
    const row = compare([wearer, wearer, { ...wearer, ownDb: -38 }, far], { ...wearer, ownDb: -45 });
    expect(row.leadDb).toBeCloseTo(7, 9);
    expect(row.count).toBe(2);
    expect(row).toMatchObject({ besideLeadDb: 0, besideCount: 0, placeTurns: 0, besideLikeness: 0, besideMs: 0.5 });
  });
});
