import type { Candidate } from '../evidence/candidate.js';
import type { CallFeatures } from '../model/call-features.js';
import { CONTEXT_FEATURES } from '../model/context-features.js';
import type { GainFit } from '../model/fit-gains.js';
import { measureStrength, type LeftoverEvent } from './group-leftovers.js';

/** The features of the strongest candidate, then what the event and the accepted calls around it add. */
export const UNTAGGED_FEATURES = [
  ...CONTEXT_FEATURES, 'ownLogOdds', 'trackCount', 'spreadDb', 'totalShare', 'eventMs', 'aboveAcceptedDb', 'acceptedOverlap', 'sinceAcceptedMs', 'aboveSinceDb', 'members',
] as const;

export interface AcceptedCall { index: number; probability: number }

/** Features of every leftover event. `accepted` are the candidates given to tagged birds, in time order. */
export function computeUntaggedFeatures(
  candidates: readonly Candidate[], features: readonly CallFeatures[], logOdds: ArrayLike<number>, events: readonly LeftoverEvent[],
  accepted: readonly number[], gains: GainFit,
): Float64Array[] {
  const g = gains.gainDb;
  let first = 0;
  return events.map((e) => {
    const lead = candidates[e.lead];
    const strength = measureStrength(lead, g);
    const levels = Array.from(lead.levelDb, (v, j) => (lead.lostShare[j] > 0.3 ? NaN : v - g[j])).filter((v) => !Number.isNaN(v)).sort((a, b) => b - a);
    const tracks = new Set(e.members.map((n) => candidates[n].track));
    let share = 0;
    for (const n of e.members) share += candidates[n].ownedShare;
    while (first < accepted.length && candidates[accepted[first]].offsetSec < e.onsetSec - 2) first++;
    let above = 60; let overlap = 0; let since = 500; let aboveSince = 60;
    for (let k = first; k < accepted.length; k++) {
      const a = candidates[accepted[k]];
      if (a.onsetSec > e.offsetSec) break;
      const difference = strength - measureStrength(a, g);
      const both = Math.min(a.offsetSec, e.offsetSec) - Math.max(a.onsetSec, e.onsetSec);
      if (both > 0) {
        above = Math.min(above, difference);
        overlap = Math.max(overlap, both / Math.max(1e-3, e.offsetSec - e.onsetSec));
      } else if ((e.onsetSec - a.offsetSec) * 1e3 < since) {
        since = (e.onsetSec - a.offsetSec) * 1e3;
        aboveSince = difference;
      }
    }
    return Float64Array.from([
      ...features[e.lead], logOdds[e.lead], tracks.size, (levels[0] ?? 0) - (levels[levels.length >> 1] ?? 0), share / tracks.size,
      (e.offsetSec - e.onsetSec) * 1e3, above, overlap, since, aboveSince, e.members.length,
    ]);
  });
}
