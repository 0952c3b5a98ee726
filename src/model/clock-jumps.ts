import { hypot } from '../numeric/elementary.js';
import { medianOf } from './solve.js';

/** An offset read in a window of time. */
export interface OffsetReading { tSec: number; offset: number }

export interface FoundStep {
  /** Index of the last reading before the step. */
  index: number;
  /** Step in the unit of the offsets. */
  step: number;
}

const SIDE = 8;
const LEAST_SIDE = 4;

/**
 * Steps in a series of offsets: medians of up to eight readings on both sides, the common rate taken away, differ by more than `least` and by
 * six times what the scatter and, where readings are missing between, the doubt in the rate allow. Works on the largest step first, then on the parts.
 */
export function findSteps(series: readonly OffsetReading[], least: number): FoundStep[] {
  const out: FoundStep[] = [];
  // Few neighbours may agree by chance: the scatter of the whole series (bends of three in a row) is the least that counts.
  const bends = series.slice(2).map((e, k) => Math.abs(e.offset - 2 * series[k + 1].offset + series[k].offset));
  const usual = (1.4826 * medianOf(bends)) / Math.sqrt(6);
  const search = (from: number, to: number): void => {
    let best: FoundStep | null = null;
    for (let k = from + LEAST_SIDE - 1; k + LEAST_SIDE < to; k++) {
      const step = judgeStep(series, Math.max(from, k + 1 - SIDE), k, Math.min(to, k + 1 + SIDE), usual);
      if (Math.abs(step) > least && (!best || Math.abs(step) > Math.abs(best.step))) best = { index: k, step };
    }
    if (!best) return;
    // Medians smear: the place is where neighbours differ most.
    const found = sharpen(series, best, from, to);
    search(from, found.index + 1);
    out.push(found);
    search(found.index + 1, to);
  };
  search(0, series.length);
  return out.filter((s, k) => k === 0 || s.index > out[k - 1].index + 1);
}

/** Step after reading k, or 0 where the scatter may explain it. */
function judgeStep(series: readonly OffsetReading[], from: number, k: number, to: number, usual: number): number {
  const slopes: number[] = [];
  for (let n = from; n + 1 < to; n++) {
    if (n !== k) slopes.push((series[n + 1].offset - series[n].offset) / (series[n + 1].tSec - series[n].tSec));
  }
  const rate = medianOf(slopes);
  const level = (a: number, b: number): { tSec: number; middle: number; scatter: number } => {
    const part = series.slice(a, b);
    const v = part.map((e) => e.offset - rate * (e.tSec - series[k].tSec));
    const middle = medianOf(v);
    return { tSec: medianOf(part.map((e) => e.tSec)), middle, scatter: 1.4826 * medianOf(v.map((x) => Math.abs(x - middle))) };
  };
  const left = level(from, k + 1);
  const right = level(k + 1, to);
  const step = right.middle - left.middle;
  const scatter = hypot(Math.max(usual, left.scatter), Math.max(usual, right.scatter));
  const doubt = hypot(scatter / Math.sqrt(LEAST_SIDE), doubtRate(slopes, rate) * measureGap(series, from, to, right.tSec - left.tSec));
  return Math.abs(step) > 6 * doubt ? step : 0;
}

/** Standard error of a median (1.2533 sd / sqrt(n) for a normal distribution) of slopes. */
function doubtRate(slopes: readonly number[], rate: number): number {
  return (1.2533 * 1.4826 * medianOf(slopes.map((s) => Math.abs(s - rate)))) / Math.sqrt(slopes.length);
}

/** By how much two sides lie further apart than so many readings do: over an hour without any, a rate that is wrong by a few ppm looks like a step. */
function measureGap(series: readonly OffsetReading[], from: number, to: number, apartSec: number): number {
  const spacing: number[] = [];
  for (let n = from; n + 1 < to; n++) spacing.push(series[n + 1].tSec - series[n].tSec);
  return Math.max(0, apartSec - (medianOf(spacing) * (to - from)) / 2);
}

function sharpen(series: readonly OffsetReading[], found: FoundStep, from: number, to: number): FoundStep {
  let { index } = found;
  const size = (k: number): number => (series[k + 1].offset - series[k].offset) * Math.sign(found.step);
  for (let k = Math.max(from, index - 3); k <= Math.min(to - 2, index + 3); k++) if (size(k) > size(index)) index = k;
  return { index, step: found.step };
}

/** Evidence that sounds at one moment belong before or after a step: larger fits better. */
export interface SideEvidence { tSec: number; before: number; after: number }

/** One stray piece of evidence may be wrong: splits that fit worse by no more than this are as good. */
const SLACK = 1;

/** The split of a time-ordered list that fits best, with the span of splits that fit about as well and what each side has in its favour. */
export function locateStep(evidence: readonly SideEvidence[], slack = SLACK): { tSec: number; withinSec: number; favour: number } | null {
  if (evidence.length < 2) return null;
  const scores: number[] = [];
  let score = evidence.reduce((s, e) => s + e.after, 0);
  for (const e of evidence.slice(0, -1)) { score += e.before - e.after; scores.push(score); }
  let best = 0;
  scores.forEach((s, k) => { if (s > scores[best]) best = k; });
  let low = best;
  let high = best;
  scores.forEach((s, k) => { if (s >= scores[best] - slack) { low = Math.min(low, k); high = Math.max(high, k); } });
  let left = 0;
  let right = 0;
  evidence.forEach((e, k) => { if (k <= best) left += e.before - e.after; else right += e.after - e.before; });
  const [from, to] = [evidence[low].tSec, evidence[high + 1].tSec];
  return { tSec: (from + to) / 2, withinSec: (to - from) / 2, favour: Math.min(left, right) };
}

export interface TrendLine { slope: number; intercept: number }

/** Theil-Sen line (Sen 1968): the median of the slopes of all pairs, through the median of x and of y. Fewer than three points: level. */
export function fitTheilSen(x: readonly number[], y: readonly number[]): TrendLine {
  const slopes: number[] = [];
  for (let a = 0; a < x.length; a++) for (let b = a + 1; b < x.length; b++) if (x[b] !== x[a]) slopes.push((y[b] - y[a]) / (x[b] - x[a]));
  const slope = x.length < 3 ? 0 : medianOf(slopes);
  return { slope, intercept: medianOf(y) - slope * medianOf(x) };
}
