import type { HandlingRow } from '../../schema/analysis-rows.js';
import { DAY_SEC, listHandling } from '../exclusions/derive-exclusions.js';
import type { DaysAfter } from '../exclusions/derive-exclusions.js';
import { mergeSpans } from '../exclusions/usable-time.js';

export interface Span { startSec: number; endSec: number }

export interface HandlingEvent {
  bird: string;
  timeSec: number;
  what: keyof DaysAfter;
  /** Moment from which the days after it are no longer its own: next handling of the bird, or the study's end. */
  untilSec: number;
}

/** What was done to a bird while it wore a tag, with how long each lasts. */
export function listEvents(handling: readonly HandlingRow[], bird: string, endSec: number): HandlingEvent[] {
  const own = listHandling(handling, bird);
  return own.flatMap((row, n) => (row.what === 'removed' || row.timeSec >= endSec ? [] : [{ bird, timeSec: row.timeSec, what: row.what, untilSec: Math.min(endSec, own[n + 1]?.timeSec ?? endSec) }]));
}

/** Time of a bird that counts as baseline: later than the tested days after every handling, within the baseline that the user sets. */
export function listBaseline(handling: readonly HandlingRow[], bird: string, endSec: number, testDays: DaysAfter, baseline?: readonly [number, number]): Span[] {
  const busy = listHandling(handling, bird).filter((r) => r.what !== 'removed').map((r) => ({ startSec: r.timeSec, endSec: r.timeSec + testDays[r.what as keyof DaysAfter] * DAY_SEC }));
  const [from, to] = baseline ?? [0, endSec];
  const spans: Span[] = [];
  let start = Math.max(0, from);
  for (const b of mergeSpans(busy)) {
    if (b.startSec > start) spans.push({ startSec: start, endSec: Math.min(b.startSec, to) });
    start = Math.max(start, b.endSec);
  }
  if (start < to) spans.push({ startSec: start, endSec: Math.min(to, endSec) });
  return spans.filter((s) => s.endSec > s.startSec);
}

/** Whether a span lies wholly in one of the others. */
export function liesIn(spans: readonly Span[], fromSec: number, toSec: number): boolean {
  return spans.some((s) => fromSec >= s.startSec && toSec <= s.endSec);
}
