import type { CallRow } from '../../schema/rows.js';

/** Two calls, one inside the other, whose strongest frequencies differ by less than this share are one sound. */
const SAME_PEAK_SHARE = 0.1;

export interface SharedSounds {
  /** Calls that stand, ascending in onset. */
  kept: CallRow[];
  /** Calls set aside: each shares its sound with a surer call of another bird. */
  setAside: CallRow[];
}

/**
 * Sets aside the less probable of two calls of different birds that are likely one sound heard on two tracks: they overlap in time and
 * either their onsets are nearer than `gapSec` or one lies within the other (to `gapSec`) with the same strongest frequency to 10 %.
 * The surest are settled first, so that a third copy does not stand because a second one fell. Common practice, no source.
 */
export function setAsideSharedSounds(calls: readonly CallRow[], gapSec: number): SharedSounds {
  const sorted = [...calls].sort((a, b) => a.onsetSec - b.onsetSec || a.callId - b.callId);
  const neighbours = listNeighbours(sorted, gapSec);
  const order = [...neighbours.keys()].sort((a, b) => sorted[b].probability - sorted[a].probability || a - b);
  const fallen = new Set<number>();
  const settled = new Set<number>();
  for (const i of order) {
    if (neighbours.get(i)!.some((j) => settled.has(j) && !fallen.has(j))) fallen.add(i);
    settled.add(i);
  }
  return { kept: sorted.filter((_, i) => !fallen.has(i)), setAside: sorted.filter((_, i) => fallen.has(i)) };
}

/** For each call that shares its sound with others, the places of these in the sorted list. */
function listNeighbours(sorted: readonly CallRow[], gapSec: number): Map<number, number[]> {
  const found = new Map<number, number[]>();
  const note = (i: number, j: number): void => { const list = found.get(i); if (list) list.push(j); else found.set(i, [j]); };
  let open: number[] = [];
  for (let i = 0; i < sorted.length; i++) {
    open = open.filter((j) => sorted[j].offsetSec > sorted[i].onsetSec);
    for (const j of open) {
      if (isOneSound(sorted[j], sorted[i], gapSec)) { note(i, j); note(j, i); }
    }
    open.push(i);
  }
  return found;
}

/** `first` starts no later than `second` and both overlap. */
function isOneSound(first: CallRow, second: CallRow, gapSec: number): boolean {
  if (first.bird === second.bird) return false;
  if (second.onsetSec - first.onsetSec < gapSec) return true;
  if (second.offsetSec > first.offsetSec + gapSec) return false;
  const ratio = second.peakHz / first.peakHz;
  return ratio > 1 - SAME_PEAK_SHARE && ratio < 1 + SAME_PEAK_SHARE;
}
