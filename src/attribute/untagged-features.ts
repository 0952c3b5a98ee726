import type { Candidate } from '../evidence/candidate.js';
import { CALL_FEATURES, type CallFeatures } from '../model/call-features.js';
import { createFeatureRows, writeFeatures } from '../model/feature-rows.js';
import type { GainFit } from '../model/fit-gains.js';
import { measureStrength, type LeftoverEvent } from './group-leftovers.js';

/** What a cut's event and the accepted calls around it add. */
export const EVENT_FEATURES = [
  'ownLogOdds', 'trackCount', 'spreadDb', 'totalShare', 'eventMs', 'aboveAcceptedDb', 'acceptedOverlap', 'sinceAcceptedMs', 'aboveSinceDb', 'members',
  'belowStrongestDb', 'shareOfEvent', 'sinceEventMs',
  'onsetTracks', 'bestMemberZ',
] as const;

/** First look at leftover sounds: the first features of a cut, then those of its event. */
export const UNTAGGED_FEATURES = [...CALL_FEATURES, ...EVENT_FEATURES] as const;

/** One cut of a leftover sound: which candidate, of which event. */
export interface LeftoverCut { event: number; candidate: number }

/** All cuts of all events, in order of time. */
export function listCuts(candidates: readonly Candidate[], events: readonly LeftoverEvent[]): LeftoverCut[] {
  return events.flatMap((e, event) => e.members.map((candidate) => ({ event, candidate })))
    .sort((a, b) => candidates[a.candidate].onsetSec - candidates[b.candidate].onsetSec || a.candidate - b.candidate);
}

/**
 * Features of every cut of every leftover event.
 * @param accepted the candidates given to tagged birds, in time order
 */
export function computeUntaggedFeatures(
  candidates: readonly Candidate[], features: readonly CallFeatures[], logOdds: ArrayLike<number>, events: readonly LeftoverEvent[], cuts: readonly LeftoverCut[],
  accepted: readonly number[], gains: GainFit,
): readonly Float64Array[] {
  const rows = createFeatureRows(cuts.length, UNTAGGED_FEATURES.length);
  const g = gains.gainDb;
  let first = 0;
  const best = events.map((e) => measureStrength(candidates[e.lead], g));
  const bestZ = events.map((e) => findBestZ(candidates, e));
  const trackCount = events.map((e) => new Set(e.members.map((n) => candidates[n].track)).size);
  const share = events.map((e) => e.members.reduce((sum, n) => sum + candidates[n].ownedShare, 0));
  cuts.forEach(({ event, candidate }, k) => {
    const e = events[event];
    const lead = candidates[candidate];
    const strength = measureStrength(lead, g);
    const levels = Array.from(lead.levelDb, (v, j) => (lead.lostShare[j] > 0.3 ? NaN : v - g[j])).filter((v) => !Number.isNaN(v)).sort((a, b) => b - a);
    while (first < accepted.length && candidates[accepted[first]].offsetSec < lead.onsetSec - 2) first++;
    let above = 60; let overlap = 0; let since = 500; let aboveSince = 60;
    for (let m = first; m < accepted.length; m++) {
      const a = candidates[accepted[m]];
      if (a.onsetSec > lead.offsetSec) break;
      const difference = strength - measureStrength(a, g);
      const both = Math.min(a.offsetSec, lead.offsetSec) - Math.max(a.onsetSec, lead.onsetSec);
      if (both > 0) {
        above = Math.min(above, difference);
        overlap = Math.max(overlap, both / Math.max(1e-3, lead.offsetSec - lead.onsetSec));
      } else if ((lead.onsetSec - a.offsetSec) * 1e3 < since) {
        since = (lead.onsetSec - a.offsetSec) * 1e3;
        aboveSince = difference;
      }
    }
    writeFeatures(rows[k], features[candidate], [
      logOdds[candidate], trackCount[event], (levels[0] ?? 0) - (levels[levels.length >> 1] ?? 0), share[event] / trackCount[event],
      (e.offsetSec - e.onsetSec) * 1e3, above, overlap, since, aboveSince, e.members.length,
      strength - best[event], (lead.offsetSec - lead.onsetSec) / Math.max(1e-3, e.offsetSec - e.onsetSec), (lead.onsetSec - e.onsetSec) * 1e3,
      countOnsets(candidates, e, lead.onsetSec), bestZ[event],
    ]);
  });
  return rows;
}

const ONSET_SEC = 0.01;

/** Tracks on which a cut of the event begins with this one. */
function countOnsets(candidates: readonly Candidate[], e: LeftoverEvent, onsetSec: number): number {
  const seen = new Set<number>();
  for (const n of e.members) {
    const c = candidates[n];
    if (Math.abs(c.onsetSec - onsetSec) < ONSET_SEC) seen.add(c.track);
  }
  return seen.size;
}

/** Highest phase correlation of any cut of the event with any other track, standard deviations of unrelated noise. */
function findBestZ(candidates: readonly Candidate[], e: LeftoverEvent): number {
  let best = 0;
  for (const n of e.members) for (let j = 0; j < candidates[n].agreementZ.length; j++) if (j !== candidates[n].track) best = Math.max(best, candidates[n].agreementZ[j]);
  return best;
}
