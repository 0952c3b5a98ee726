import type { Candidate } from '../evidence/candidate.js';
import { log2 } from '../numeric/elementary.js';
import { multiplySpectra } from './spectra-likeness.js';
import { high, liftOfLowEnd, middle, type Template } from './templates.js';

/**
 * A bird without a tag in body contact with a wearer is nearest to the wearer's microphone, yet a hand's breadth from its beak: its calls arrive
 * with other lags, lead by less, and are of another voice. A wearer that moved has other lags too, but does not come back between any two calls.
 * Compared are calls of the own track from the same place with those from just beside it.
 */
export const BESIDE_FEATURES = ['besideLeadDb', 'besideStrengthDb', 'besideTiltDb', 'besideCount', 'placeTurns', 'besideLikeness', 'besideMs'] as const;

const SAME_PLACE_MS = 0.08;
/** From here to here places are beside each other: body contact. */
const BESIDE_MS = [0.1, 0.5];

interface Place { leads: number[]; strengths: number[]; tilts: number[]; likeness: number[]; distances: number[] }

/** What comparePlaces says. `leadDb`, `strengthDb`: how far the candidate lies below the upper fifth of calls from its place. */
export interface PlaceComparison { leadDb: number; strengthDb: number; count: number; beside: number[] }

/** @param near templates of the candidate's own track near it in time, in time order @param mine the candidate as a template */
export function comparePlaces(candidates: readonly Candidate[], near: readonly Template[], strength: readonly number[], mine: Template): PlaceComparison {
  const n = mine.candidate, c = candidates[n];
  const here = makePlace(), beside = makePlace();
  let turns = 0; let wasHere = false; let begun = false;
  for (const t of near) {
    const o = candidates[t.candidate];
    if (o.onsetSec < c.offsetSec && o.offsetSec > c.onsetSec) continue;
    const { lagMs, leadDb } = comparePair(mine, t, c.track);
    if (!(lagMs <= BESIDE_MS[1])) continue;
    const isHere = lagMs <= SAME_PLACE_MS;
    if (!isHere && lagMs < BESIDE_MS[0]) continue;
    const place = isHere ? here : beside;
    place.leads.push(leadDb);
    place.strengths.push(strength[t.candidate] - strength[n]);
    place.tilts.push(liftOfLowEnd(o));
    place.likeness.push(multiplySpectra(c.bands, o.bands));
    place.distances.push(lagMs);
    if (begun && isHere !== wasHere) turns++;
    wasHere = isHere;
    begun = true;
  }
  return { leadDb: high(here.leads), strengthDb: high(here.strengths), count: log2(1 + here.leads.length), beside: describeBeside(here, beside, turns, liftOfLowEnd(c)) };
}

/** Calls from beside against those from here, the candidate among them. */
function describeBeside(here: Place, beside: Place, turns: number, ownTilt: number): number[] {
  if (beside.leads.length === 0) return [0, 0, 0, 0, 0, 0, BESIDE_MS[1]];
  return [
    middle(beside.leads) - middle([...here.leads, 0]), middle(beside.strengths) - middle([...here.strengths, 0]), middle(beside.tilts) - middle([...here.tilts, ownTilt]),
    log2(1 + beside.leads.length), turns, high(beside.likeness) - (here.likeness.length > 0 ? high(here.likeness) : 1), middle(beside.distances),
  ];
}

/** Root mean square of the differences of lags, ms (NaN: none in common), and mean lead of the template over the candidate's, dB. */
function comparePair(mine: Template, t: Template, track: number): { lagMs: number; leadDb: number } {
  let square = 0; let common = 0; let lead = 0;
  for (let j = 0; j < t.lagMs.length; j++) {
    const d = j === track ? NaN : mine.lagMs[j] - t.lagMs[j];
    if (Number.isNaN(d)) continue;
    square += d * d;
    lead += t.leadDb[j] - mine.leadDb[j];
    common++;
  }
  return common === 0 ? { lagMs: NaN, leadDb: 0 } : { lagMs: Math.sqrt(square / common), leadDb: lead / common };
}

function makePlace(): Place {
  return { leads: [], strengths: [], tilts: [], likeness: [], distances: [] };
}
