import { DAY_SEC } from '../exclusions/derive-exclusions.js';
import { liesIn } from './baseline.js';
import type { HandlingEvent, Span } from './baseline.js';
import type { Series, Tally } from './series.js';

/** One span of a day and the same hours of the baseline days, in the unit of the measure or its logarithm. */
export interface SlotPair { value: number; baseline: number }

export interface DayComparison {
  pairs: SlotPair[];
  /** Mean over pairs. */
  value: number;
  baseline: number;
  /** Relative change of the mean; the mean difference of logarithms for a measure that is one. */
  change: number;
  /** The relative change of every pair, whose mean is `change`. */
  changes: number[];
}

/** A bird's baseline around one handling: by span of the day, each baseline day apart. */
export interface SlotBaseline {
  /** [span of the day][baseline day]; null where it is no baseline or too little is known. */
  tallies: (Tally | null)[][];
  slotSec: number;
}

/** Collects the baseline days at the hours of the day that a handling begins its days with. */
export function collectBaseline(series: Series, event: HandlingEvent, spans: readonly Span[], slotSec: number): SlotBaseline {
  const first = Math.floor((Math.min(...spans.map((s) => s.startSec)) - event.timeSec) / DAY_SEC);
  const last = Math.ceil((Math.max(...spans.map((s) => s.endSec)) - event.timeSec) / DAY_SEC);
  const tallies = Array.from({ length: Math.round(DAY_SEC / slotSec) }, (_, slot) => Array.from({ length: Math.max(0, last - first) }, (_, n) => {
    const from = event.timeSec + (first + n) * DAY_SEC + slot * slotSec;
    if (!liesIn(spans, from, from + slotSec)) return null;
    const tally = series.tally(from, from + slotSec);
    return series.isEnough(tally, slotSec) ? tally : null;
  }));
  return { tallies, slotSec };
}

/** Compares a day after a handling (1 = the first 24 h) with the baseline; null where it is not whole or nothing can be compared. */
export function compareDay(series: Series, event: HandlingEvent, day: number, baseline: SlotBaseline): DayComparison | null {
  const start = event.timeSec + (day - 1) * DAY_SEC;
  if (start + DAY_SEC > event.untilSec + 1e-6) return null;
  return comparePairs(series, baseline, (slot) => {
    const from = start + slot * baseline.slotSec;
    const tally = series.tally(from, from + baseline.slotSec);
    return series.isEnough(tally, baseline.slotSec) ? tally : null;
  });
}

/** Each baseline day against the others: how far days move that nothing was done before. By baseline day, null where too little is known. */
export function compareBaselineDays(series: Series, baseline: SlotBaseline): (DayComparison | null)[] {
  const days = baseline.tallies[0]?.length ?? 0;
  return Array.from({ length: days }, (_, day) => {
    const others = { ...baseline, tallies: baseline.tallies.map((row) => row.map((t, n) => (n === day ? null : t))) };
    const compared = comparePairs(series, others, (slot) => baseline.tallies[slot][day]);
    // A day cut by the edge of the baseline stands for its own hours only.
    return compared && compared.pairs.length >= 4 ? compared : null;
  });
}

function comparePairs(series: Series, baseline: SlotBaseline, find: (slot: number) => Tally | null): DayComparison | null {
  const pairs: SlotPair[] = [];
  baseline.tallies.forEach((row, slot) => {
    const own = find(slot);
    const known = row.filter((t): t is Tally => t !== null);
    if (!own || known.length === 0) return;
    const value = series.value(own);
    const base = averageDays(series, known);
    // Hours in which a bird sleeps, then and now, tell nothing.
    if (value !== 0 || base !== 0) pairs.push({ value, baseline: base });
  });
  return summarise(series, pairs);
}

/** Baseline of one span. Rates are pooled by effort; means of logarithms count every day the same, for busy days have many short intervals. */
function averageDays(series: Series, days: readonly Tally[]): number {
  if (series.isLog) return days.reduce((s, t) => s + series.value(t), 0) / days.length;
  return series.value(days.reduce((sum, t) => ({ top: sum.top + t.top, bottom: sum.bottom + t.bottom }), { top: 0, bottom: 0 }));
}

/** Means and relative change over pairs; null where the baseline is empty. */
export function summarise(series: Pick<Series, 'isLog'>, pairs: SlotPair[]): DayComparison | null {
  if (pairs.length === 0) return null;
  const value = pairs.reduce((s, p) => s + p.value, 0) / pairs.length;
  const baseline = pairs.reduce((s, p) => s + p.baseline, 0) / pairs.length;
  if (series.isLog) return { pairs, value: Math.exp(value), baseline: Math.exp(baseline), change: value - baseline, changes: pairs.map((p) => p.value - p.baseline) };
  // A movement sensor may centre on 0: a share of nothing means nothing.
  if (!(baseline > 0)) return null;
  return { pairs, value, baseline, change: value / baseline - 1, changes: pairs.map((p) => (p.value - p.baseline) / baseline) };
}
