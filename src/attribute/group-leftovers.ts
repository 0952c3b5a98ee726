import type { Candidate } from '../evidence/candidate.js';
import { log10 } from '../numeric/elementary.js';
import { overlapShare } from './suppress.js';

/** A sound that no tagged bird was found for: a strongest candidate and what overlaps it on other tracks. */
export interface LeftoverEvent {
  /** Index of the strongest candidate. */
  lead: number;
  members: number[];
  onsetSec: number;
  offsetSec: number;
}

const NEAR_DB = 9;

/** Total energy of a candidate with the gain taken out, dB. */
export function measureStrength(c: Candidate, gainDb: ArrayLike<number>): number {
  return c.levelDb[c.track] - gainDb[c.track] + 10 * log10(c.ownedBins);
}

/**
 * Groups candidates that overlap in time into events, strongest first. An event reaches from the earliest onset to the latest offset of its
 * members within 9 dB of the strongest.
 * @param free indices of candidates that no accepted call explains
 */
export function groupLeftovers(candidates: readonly Candidate[], free: readonly number[], gainDb: ArrayLike<number>): LeftoverEvent[] {
  // By candidate: tables are looked up far more often than candidates are free.
  const strength = new Float64Array(candidates.length), position = new Int32Array(candidates.length), isTaken = new Uint8Array(candidates.length);
  for (const n of free) strength[n] = measureStrength(candidates[n], gainDb);
  const order = [...free].sort((a, b) => strength[b] - strength[a] || a - b);
  order.forEach((n, k) => { position[n] = k; });
  const byTime = [...free].sort((a, b) => candidates[a].onsetSec - candidates[b].onsetSec || a - b);
  const starts = byTime.map((n) => candidates[n].onsetSec);
  const events: LeftoverEvent[] = [];
  for (const lead of order) {
    if (isTaken[lead]) continue;
    const c = candidates[lead];
    const members = [lead];
    for (let k = lowerBound(starts, c.onsetSec - 2); k < byTime.length && starts[k] < c.offsetSec; k++) {
      const n = byTime[k];
      if (n !== lead && !isTaken[n] && position[n] > position[lead] && overlapShare(c, candidates[n]) > 0.3) members.push(n);
    }
    let onsetSec = Infinity; let offsetSec = -Infinity;
    for (const n of members) {
      isTaken[n] = 1;
      if (!(strength[n] > strength[lead] - NEAR_DB)) continue;
      onsetSec = Math.min(onsetSec, candidates[n].onsetSec);
      offsetSec = Math.max(offsetSec, candidates[n].offsetSec);
    }
    events.push({ lead, members, onsetSec, offsetSec });
  }
  return events.sort((a, b) => a.onsetSec - b.onsetSec || a.lead - b.lead);
}

function lowerBound(values: readonly number[], v: number): number {
  let lo = 0;
  let hi = values.length;
  while (lo < hi) {
    const mid = (lo + hi) >> 1;
    if (values[mid] < v) lo = mid + 1; else hi = mid;
  }
  return lo;
}
