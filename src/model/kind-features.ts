import type { Candidate } from '../evidence/candidate.js';
import { compareKinds, describeKind, type Kind } from './kinds.js';
import type { Template } from './templates.js';

/**
 * Birds have a repertoire: what is a call is mostly of a kind with other calls of the recording, in length, pitch and make. Clicks of a beak are
 * none of them, and a part of a call is less of a kind than the whole. How a candidate compares with sure calls, and other cuts of the same sound.
 */
export const KIND_FEATURES = [
  'shorterThanUsual', 'longerThanUsual', 'kindToOwn', 'kindToOthers', 'kindThird', 'otherCutKind', 'containerLogOdds', 'containerShare', 'partLogOdds', 'partShare', 'abuttingLogOdds', 'abuttingMs',
  'containerUnevenness', 'containerElements',
] as const;

const FARTHEST = 6;
const LEAST_LOG_ODDS = -8;
const ABUTTING_SEC = 0.06;
/** A cut is another one's container if it holds this share of it and is this much longer. */
const HELD = 0.9;
const LONGER = 1.15;
const SAME_SOUND = 0.3;
/** Unevenness of what is part of no string. */
const NO_STRING = 3;

/** @param candidates sorted by onset @param near templates of a track near a time, [from, to) @returns gives the row of KIND_FEATURES of candidate n */
export function prepareKindFeatures(
  candidates: readonly Candidate[], logOdds: ArrayLike<number>, templates: readonly (readonly Template[])[], near: (list: readonly Template[], tSec: number) => [number, number],
): (n: number) => number[] {
  const kinds = candidates.map(describeKind);
  const lengths = templates.flatMap((list) => list.map((t) => kinds[t.candidate].length)).sort((a, b) => a - b);
  const low = lengths[Math.floor(0.1 * lengths.length)] ?? 0, high = lengths[Math.min(lengths.length - 1, Math.floor(0.9 * lengths.length))] ?? 0;
  const known = new Array<KindDistances | undefined>(candidates.length);
  const distances = (n: number): KindDistances => (known[n] ??= findNearestKinds(candidates, kinds, templates, near, candidates[n], n));
  return (n) => {
    const cuts = compareCuts(candidates, logOdds, distances, n);
    const d = distances(n);
    return [lengths.length ? kinds[n].length - low : 0, lengths.length ? kinds[n].length - high : 0, d.own, d.others, d.third, ...cuts];
  };
}

interface KindDistances { own: number; others: number; third: number }

/** Distance to the nearest sure call of the own bird, of the others, and to the third nearest of all. */
function findNearestKinds(
  candidates: readonly Candidate[], kinds: readonly Kind[], templates: readonly (readonly Template[])[], near: (list: readonly Template[], tSec: number) => [number, number], c: Candidate, n: number,
): KindDistances {
  let own = FARTHEST; let others = FARTHEST;
  let nearest = FARTHEST; let second = FARTHEST; let third = FARTHEST;
  templates.forEach((list, track) => {
    const [from, to] = near(list, c.onsetSec);
    for (let k = from; k < to; k++) {
      const o = candidates[list[k].candidate];
      if (o.onsetSec < c.offsetSec && o.offsetSec > c.onsetSec) continue;
      // Nothing is changed by one that is farther than all that count.
      const most = Math.max(third, track === c.track ? own : others), d = compareKinds(kinds[n], kinds[list[k].candidate], most);
      if (track === c.track) own = Math.min(own, d); else others = Math.min(others, d);
      if (d >= third) continue;
      if (d < nearest) { third = second; second = nearest; nearest = d; } else if (d < second) { third = second; second = d; } else third = d;
    }
  });
  return { own, others, third };
}

/** Other cuts of the same sound on the same track: how much nearer the best of them is to a kind, the surest that holds this one, the surest part, the surest neighbour. */
function compareCuts(candidates: readonly Candidate[], logOdds: ArrayLike<number>, distances: (n: number) => KindDistances, n: number): number[] {
  const c = candidates[n], length = c.offsetSec - c.onsetSec;
  let kind = FARTHEST; let container = LEAST_LOG_ODDS; let containerShare = 1; let unevenness = NO_STRING; let elements = 1; let part = LEAST_LOG_ODDS; let partShare = 1; let abutting = LEAST_LOG_ODDS; let abuttingMs = ABUTTING_SEC * 1e3;
  const look = (m: number): void => {
    const o = candidates[m];
    if (o.track !== c.track || o.shared !== c.shared) return;
    const both = Math.min(c.offsetSec, o.offsetSec) - Math.max(c.onsetSec, o.onsetSec), other = o.offsetSec - o.onsetSec;
    if (both <= 0.1 * Math.min(length, other)) {
      const gap = Math.max(0, -both);
      if (gap < ABUTTING_SEC && logOdds[m] > abutting) { abutting = logOdds[m]; abuttingMs = gap * 1e3; }
      return;
    }
    if (both > SAME_SOUND * Math.min(length, other)) kind = Math.min(kind, distances(m).third);
    if (both > HELD * length && other > LONGER * length) {
      if (logOdds[m] > container) { container = logOdds[m]; containerShare = length / other; }
      if (o.elements > 1 && o.unevenness < unevenness) { unevenness = o.unevenness; elements = o.elements; }
    }
    else if (both > HELD * other && length > LONGER * other && logOdds[m] > part) { part = logOdds[m]; partShare = other / length; }
  };
  for (let m = n - 1; m >= 0 && candidates[m].onsetSec > c.onsetSec - 2; m--) look(m);
  for (let m = n + 1; m < candidates.length && candidates[m].onsetSec < c.offsetSec + ABUTTING_SEC; m++) look(m);
  return [kind - distances(n).third, container, containerShare, part, partShare, abutting, abuttingMs, unevenness, elements];
}
