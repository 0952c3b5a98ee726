import type { SoundRow, TrackHourRow } from '../../schema/rows.js';
import type { ExcludedWindow, Interval } from './types.js';

const HOUR_SEC = 3600;

/** Shorter losses of a link cost less than the cut that they would make. */
const LEAST_LOSS_SEC = 5;

/** Sorts intervals and joins those that touch. */
export function mergeIntervals(intervals: readonly Interval[]): Interval[] {
  const sorted = intervals.filter((i) => i.endSec > i.startSec).sort((a, b) => a.startSec - b.startSec);
  const merged: Interval[] = [];
  for (const next of sorted) {
    const last = merged[merged.length - 1];
    if (last && next.startSec <= last.endSec) last.endSec = Math.max(last.endSec, next.endSec);
    else merged.push({ startSec: next.startSec, endSec: next.endSec });
  }
  return merged;
}

/** What of `whole` (merged) lies in none of `holes`. */
export function subtractIntervals(whole: readonly Interval[], holes: readonly Interval[]): Interval[] {
  const cuts = mergeIntervals(holes);
  const left: Interval[] = [];
  let k = 0;
  for (const part of whole) {
    let startSec = part.startSec;
    while (k < cuts.length && cuts[k].endSec <= startSec) k++;
    for (let m = k; m < cuts.length && cuts[m].startSec < part.endSec; m++) {
      if (cuts[m].startSec > startSec) left.push({ startSec, endSec: cuts[m].startSec });
      startSec = Math.max(startSec, cuts[m].endSec);
    }
    if (startSec < part.endSec) left.push({ startSec, endSec: part.endSec });
  }
  return left;
}

/** What lies in both (merged) lists. */
export function intersectIntervals(a: readonly Interval[], b: readonly Interval[]): Interval[] {
  const both: Interval[] = [];
  for (let i = 0, j = 0; i < a.length && j < b.length;) {
    const startSec = Math.max(a[i].startSec, b[j].startSec);
    const endSec = Math.min(a[i].endSec, b[j].endSec);
    if (startSec < endSec) both.push({ startSec, endSec });
    if (a[i].endSec < b[j].endSec) i++;
    else j++;
  }
  return both;
}

export function sumIntervals(intervals: readonly Interval[]): number {
  return intervals.reduce((s, i) => s + i.endSec - i.startSec, 0);
}

/** Cuts each interval into even blocks of at most `longestSec`; intervals shorter than `leastSec` are left out. */
export function cutBlocks(intervals: readonly Interval[], longestSec: number, leastSec: number): Interval[] {
  return intervals.filter((i) => i.endSec - i.startSec >= leastSec).flatMap(({ startSec, endSec }) => {
    const count = Math.max(1, Math.ceil((endSec - startSec) / longestSec - 1e-9));
    const step = (endSec - startSec) / count;
    return Array.from({ length: count }, (_, k) => ({ startSec: startSec + k * step, endSec: k + 1 < count ? startSec + (k + 1) * step : endSec }));
  });
}

/**
 * When each bird could be heard: the hours of its track with any usable time, less losses of its link of 5 s and more, less what is excluded.
 * Where there are no rows of tracks all time up to `lastSec` counts.
 */
export function findObservedTime(
  birds: readonly string[], lastSec: number, tracks: readonly TrackHourRow[], sounds: readonly SoundRow[], excluded: readonly ExcludedWindow[],
): Map<string, Interval[]> {
  return new Map(birds.map((bird) => {
    const hours = tracks.filter((h) => h.track === bird && h.usableSec > 0).map((h) => ({ startSec: h.startSec, endSec: Math.min(h.startSec + HOUR_SEC, endOfHour(h, tracks)) }));
    const whole = mergeIntervals(tracks.length ? hours : [{ startSec: 0, endSec: lastSec }]);
    const lost = sounds.filter((s) => s.kind === 'dropout' && s.track === bird && s.offsetSec - s.onsetSec >= LEAST_LOSS_SEC);
    const holes = [
      ...lost.map((s) => ({ startSec: s.onsetSec, endSec: s.offsetSec })),
      ...excluded.filter((e) => e.bird === '' || e.bird === bird),
    ];
    return [bird, subtractIntervals(whole, holes)];
  }));
}

/** The last hour of a study is rarely whole: its end is what the best track recorded of it. */
function endOfHour(hour: TrackHourRow, tracks: readonly TrackHourRow[]): number {
  if (tracks.some((t) => t.startSec > hour.startSec && t.usableSec > 0)) return hour.startSec + HOUR_SEC;
  const recorded = tracks.filter((t) => t.startSec === hour.startSec).map((t) => (t.lostShare < 1 ? t.usableSec / (1 - (t.lostShare || 0)) : 0));
  return hour.startSec + Math.min(HOUR_SEC, Math.max(...recorded));
}

/** Index of the first value of an ascending array that is at or after `value`. */
export function lowerBound(sorted: ArrayLike<number>, value: number): number {
  let low = 0;
  let high = sorted.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (sorted[middle] < value) low = middle + 1;
    else high = middle;
  }
  return low;
}
