import type { Candidate } from '../evidence/candidate.js';
import { log2 } from '../numeric/elementary.js';
import { compareKinds, describeKind } from './kinds.js';

/**
 * Sounds of one make on one track are calls or are none, all together: ticks that no other microphone hears are told from blows of a bill by what most
 * of them look like, not one by one. Per candidate: what the look before said of the sounds of its own track most like it, sure or not, and how alike they are.
 */
export const LOOK_ALIKE_FEATURES = ['lookAlikeOdds', 'lookAlikeHighOdds', 'lookAlikeDistance', 'lookAlikeCount'] as const;

/** Sounds that are no more unlike than this are of one make. */
const MOST_DISTANCE = 2.5;
const MOST_ALIKE = 6;
const REACH_SEC = 150;
/** Nearest sounds of the track in time that are compared, on either side. */
const MOST_COMPARED = 40;
const LEAST_ODDS = -8;
const MOST_ODDS = 8;

/** @param candidates sorted by onset @returns gives the row of LOOK_ALIKE_FEATURES of candidate n */
export function prepareLookAlikeFeatures(candidates: readonly Candidate[], logOdds: ArrayLike<number>): (n: number) => number[] {
  const byTrack: number[][] = Array.from({ length: candidates[0]?.levelDb.length ?? 0 }, () => []), placeOf = new Int32Array(candidates.length);
  candidates.forEach((c, n) => {
    const list = byTrack[c.track];
    placeOf[n] = list.length;
    if (!c.shared) list.push(n);
  });
  const kinds = candidates.map(describeKind);
  return (n) => {
    const c = candidates[n], list = byTrack[c.track];
    const best: { distance: number; odds: number }[] = [];
    let most = MOST_DISTANCE; let count = 0;
    const look = (m: number): void => {
      const o = candidates[m];
      if (m === n || (o.onsetSec < c.offsetSec && o.offsetSec > c.onsetSec)) return;
      const distance = compareKinds(kinds[n], kinds[m], MOST_DISTANCE, true);
      if (distance >= MOST_DISTANCE) return;
      count++;
      if (distance >= most) return;
      best.push({ distance, odds: Math.max(LEAST_ODDS, Math.min(MOST_ODDS, logOdds[m])) });
      best.sort((a, b) => a.distance - b.distance);
      if (best.length > MOST_ALIKE) best.pop();
      if (best.length === MOST_ALIKE) most = best[MOST_ALIKE - 1].distance;
    };
    for (let k = placeOf[n] - 1; k >= Math.max(0, placeOf[n] - MOST_COMPARED) && c.onsetSec - candidates[list[k]].onsetSec < REACH_SEC; k--) look(list[k]);
    for (let k = placeOf[n]; k < Math.min(list.length, placeOf[n] + 1 + MOST_COMPARED) && candidates[list[k]].onsetSec - c.onsetSec < REACH_SEC; k++) look(list[k]);
    if (best.length === 0) return [0, 0, MOST_DISTANCE, 0];
    let sum = 0; let high = LEAST_ODDS; let far = 0;
    for (const b of best) { sum += b.odds; high = Math.max(high, b.odds); far += b.distance; }
    return [sum / best.length, high, far / best.length, log2(1 + count)];
  };
}
