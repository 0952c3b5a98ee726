import type { CallRow } from '../schema/rows.js';
import type { Excerpt } from './report-input.js';

export interface ExcerptChoice {
  count: number;
  lengthSec: number;
  durationSec: number;
}

/**
 * Chooses the busiest stretches that do not overlap: most birds, then most overlaps, then most calls, one point for a caller without a tag. Deterministic; in order of
 * time. Fewer than `count` where the calls do not fill as many.
 */
export function chooseExcerpts(calls: readonly CallRow[], { count, lengthSec, durationSec }: ExcerptChoice): Excerpt[] {
  const sorted = [...calls].sort((a, b) => a.onsetSec - b.onsetSec || a.callId - b.callId);
  const endSec = Math.max(durationSec, lengthSec);
  // A stretch begins a little before a call, so that none is cut at the start.
  const starts = [...new Set(sorted.map((c) => Math.max(0, Math.min(c.onsetSec - 0.25, endSec - lengthSec))))];
  let first = 0;
  const ranked = starts.map((startSec) => {
    while (first < sorted.length && sorted[first].onsetSec < startSec) first++;
    return { startSec, weight: weighStretch(sorted, first, startSec + lengthSec) };
  }).sort((a, b) => b.weight - a.weight || a.startSec - b.startSec);
  const chosen: Excerpt[] = [];
  for (const { startSec } of ranked) {
    if (chosen.length === count) break;
    if (chosen.every((e) => startSec >= e.endSec || startSec + lengthSec <= e.startSec)) chosen.push({ startSec, endSec: startSec + lengthSec });
  }
  return chosen.sort((a, b) => a.startSec - b.startSec);
}

function weighStretch(sorted: readonly CallRow[], first: number, endSec: number): number {
  const birds = new Set<string>();
  let weight = 0;
  for (let i = first; i < sorted.length && sorted[i].offsetSec <= endSec; i++) {
    birds.add(sorted[i].bird);
    weight += 1 + 0.5 * Math.min(2, sorted[i].overlaps);
  }
  return weight + 4 * birds.size + (birds.has('none') ? 3 : 0);
}
