import type { Candidate } from '../evidence/candidate.js';
import { CONTACT_SEC, CONTACT_Z } from '../evidence/contact.js';
import { isSurelyOne } from '../model/same-sound.js';
import { intersectionOverUnion } from '../numeric/intervals.js';

/** Index lists of what is kept when stretches of one track compete: best first, anything that overlaps a kept one by more than 30 % of the shorter goes. */
export interface Claim {
  track: number;
  onsetSec: number;
  offsetSec: number;
  score: number;
}

const MOST_OVERLAP = 0.3;

/** Keeps the best claims per track. Ties go to the earlier, then shorter claim. @returns indices into `claims`, in time order */
export function suppressRivals(claims: readonly Claim[], leastScore: number): number[] {
  const order = claims.map((_, n) => n).filter((n) => claims[n].score >= leastScore)
    .sort((a, b) => claims[b].score - claims[a].score || claims[a].onsetSec - claims[b].onsetSec || claims[a].offsetSec - claims[b].offsetSec);
  const kept = new Map<number, number[]>();
  for (const n of order) {
    const list = kept.get(claims[n].track) ?? [];
    if (list.some((m) => overlapShare(claims[n], claims[m]) > MOST_OVERLAP)) continue;
    list.push(n);
    kept.set(claims[n].track, list);
  }
  return [...kept.values()].flat().sort((a, b) => claims[a].onsetSec - claims[b].onsetSec || claims[a].track - claims[b].track);
}

/** Overlap of two stretches as a share of the shorter one. */
export function overlapShare(a: { onsetSec: number; offsetSec: number }, b: { onsetSec: number; offsetSec: number }): number {
  const both = Math.min(a.offsetSec, b.offsetSec) - Math.max(a.onsetSec, b.onsetSec);
  return both <= 0 ? 0 : both / Math.max(1e-4, Math.min(a.offsetSec - a.onsetSec, b.offsetSec - b.onsetSec));
}

const SAME_SHARE = 0.7;

/** Whether two candidates are one sound, looked at from the tracks of two birds in body contact (see evidence/twins.ts). */
export function isTwinOf(a: Candidate, b: Candidate): boolean {
  if (a.track === b.track || !(a.twin || b.twin)) return false;
  return intersectionOverUnion(a, b) > SAME_SHARE && a.agreementZ[b.track] >= CONTACT_Z && Math.abs(a.lagSec[b.track]) <= CONTACT_SEC;
}

/**
 * Candidates that stand as calls of their tracks' wearers: the best of each track where stretches compete, and of candidates of one sound on two tracks the surer one.
 * @returns indices in time order
 */
export function acceptCandidates(candidates: readonly Candidate[], probability: ArrayLike<number>, least: number): number[] {
  const claims = candidates.map((c, n) => ({ track: c.track, onsetSec: c.onsetSec, offsetSec: c.offsetSec, score: probability[n] }));
  const kept = suppressRivals(claims, least);
  const isBeaten = (n: number): boolean => kept.some((m) => m !== n && Math.abs(candidates[m].onsetSec - candidates[n].onsetSec) < 1
    && (probability[m] > probability[n] || (probability[m] === probability[n] && m < n)) && (isTwinOf(candidates[n], candidates[m]) || isSurelyOne(candidates[n], candidates[m])));
  const standing = kept.filter((n) => !isBeaten(n));
  return standing.map((n) => findWhole(candidates, probability, standing, n, least)).sort((a, b) => candidates[a].onsetSec - candidates[b].onsetSec || candidates[a].track - candidates[b].track);
}

/** A core and the cut that it is the loud part of begin together. */
const TOGETHER_SEC = 0.015;

/**
 * Where the core of a call was the surest cut, but a longer one that begins with it is a call, too, the longer is meant: both have the onset right,
 * and the core ends early. Of several one that is no core itself, then the surest, if it leaves the other calls of its track alone; else the core.
 */
function findWhole(candidates: readonly Candidate[], probability: ArrayLike<number>, standing: readonly number[], n: number, least: number): number {
  const c = candidates[n];
  if (!c.core) return n;
  const isSurer = (a: number, b: number): boolean => (candidates[a].core !== candidates[b].core ? !candidates[a].core : probability[a] > probability[b]);
  let best = n;
  const look = (m: number): void => {
    const o = candidates[m];
    if (o.track !== c.track || o.shared || o.twin !== c.twin || o.offsetSec <= c.offsetSec || !(probability[m] >= least) || (best !== n && !isSurer(m, best))) return;
    if (!standing.some((k) => k !== n && candidates[k].track === c.track && overlapShare(o, candidates[k]) > MOST_OVERLAP)) best = m;
  };
  for (let m = n - 1; m >= 0 && c.onsetSec - candidates[m].onsetSec <= TOGETHER_SEC; m--) look(m);
  for (let m = n + 1; m < candidates.length && candidates[m].onsetSec - c.onsetSec <= TOGETHER_SEC; m++) look(m);
  return best;
}
