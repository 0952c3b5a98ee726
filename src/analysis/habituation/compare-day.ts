import { DAY_SEC } from '../exclusions/derive-exclusions.js';
import { liesIn } from './baseline.js';
import type { HandlingEvent, Span } from './baseline.js';
import { compareTiming, findCentre } from './daily-timing.js';
import type { ProfileSlot } from './daily-timing.js';
import type { Series, Tally } from './series.js';

/** With fewer calls in a day nothing is said of when they came. Our choice, no source. */
const LEAST_EVENTS = 10;

/**
 * One span of a day and the same hours of the baseline days, in the unit of the measure or its logarithm. For timing, `baseline` is the hour of the centre and `value` that hour and the span's
 * part of the shift.
 */
export interface SlotPair {
  value: number;
  baseline: number;
  /** For timing: standard deviation of calling hours in the baseline. */
  spreadHours?: number;
}

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
  /** Hour of the day at which the first span starts. */
  startHour: number;
}

/** Collects the baseline days at the hours of the day that a handling begins its days with; shiftSec is the time of day at which the study starts. */
export function collectBaseline(series: Series, event: HandlingEvent, spans: readonly Span[], slotSec: number, shiftSec = 0): SlotBaseline {
  const first = Math.floor((Math.min(...spans.map((s) => s.startSec)) - event.timeSec) / DAY_SEC);
  const last = Math.ceil((Math.max(...spans.map((s) => s.endSec)) - event.timeSec) / DAY_SEC);
  const tallies = Array.from({ length: Math.round(DAY_SEC / slotSec) }, (_, slot) => Array.from({ length: Math.max(0, last - first) }, (_, n) => {
    const from = event.timeSec + (first + n) * DAY_SEC + slot * slotSec;
    if (!liesIn(spans, from, from + slotSec)) return null;
    const tally = series.tally(from, from + slotSec);
    return series.isEnough(tally, slotSec) ? tally : null;
  }));
  return { tallies, slotSec, startHour: ((event.timeSec + shiftSec) % DAY_SEC) / 3600 };
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
  const profile: ProfileSlot[] = [];
  let events = 0;
  baseline.tallies.forEach((row, slot) => {
    const own = find(slot);
    const known = row.filter((t): t is Tally => t !== null);
    if (!own || known.length === 0) return;
    const value = series.value(own);
    const base = averageDays(series, known);
    // Hours in which a bird sleeps, then and now, tell nothing.
    if (value === 0 && base === 0) return;
    events += own.top;
    pairs.push({ value, baseline: base });
    profile.push({ hour: (baseline.startHour + ((slot + 0.5) * baseline.slotSec) / 3600) % 24, value, baseline: base });
  });
  if (!series.isTiming) return summarise(series, pairs);
  const parts = events >= LEAST_EVENTS ? compareTiming(profile) : null;
  return summarise(series, (parts ?? []).map((p) => ({ value: p.centreHour + p.shiftHours, baseline: p.centreHour, spreadHours: p.spreadHours })));
}

/** Baseline of one span. Rates are pooled by effort; means of logarithms count every day the same, for busy days have many short intervals. */
function averageDays(series: Series, days: readonly Tally[]): number {
  if (series.isLog) return days.reduce((s, t) => s + series.value(t), 0) / days.length;
  return series.value(days.reduce((sum, t) => ({ top: sum.top + t.top, bottom: sum.bottom + t.bottom }), { top: 0, bottom: 0 }));
}

/** Means and relative change over pairs; null where the baseline is empty. */
export function summarise(series: Pick<Series, 'isLog' | 'isTiming'>, pairs: SlotPair[]): DayComparison | null {
  if (pairs.length === 0) return null;
  if (series.isTiming) return summariseTiming(pairs);
  const value = pairs.reduce((s, p) => s + p.value, 0) / pairs.length;
  const baseline = pairs.reduce((s, p) => s + p.baseline, 0) / pairs.length;
  if (series.isLog) return { pairs, value: Math.exp(value), baseline: Math.exp(baseline), change: value - baseline, changes: pairs.map((p) => p.value - p.baseline) };
  // A movement sensor may centre on 0: a share of nothing means nothing.
  if (!(baseline > 0)) return null;
  return { pairs, value, baseline, change: value / baseline - 1, changes: pairs.map((p) => (p.value - p.baseline) / baseline) };
}

/** Hours have no zero to be a share of: the shift is told in standard deviations of the baseline. */
function summariseTiming(pairs: SlotPair[]): DayComparison {
  const changes = pairs.map((p) => (p.value - p.baseline) / p.spreadHours!);
  const mean = (values: readonly number[]): number => values.reduce((s, v) => s + v, 0) / values.length;
  const baseline = averageHours(pairs.map((p) => p.baseline));
  return { pairs, value: (baseline + mean(pairs.map((p) => p.value - p.baseline)) + 24) % 24, baseline, change: mean(changes), changes };
}

/** Mean of hours of the day, which do not jump at midnight. */
export function averageHours(hours: readonly number[]): number {
  return findCentre(hours, hours.map(() => 1)).hour;
}
