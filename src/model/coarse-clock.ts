import { log2, pow2 } from '../numeric/elementary.js';
import { VolaryError } from '../schema/errors.js';
import { findSteps, fitTheilSen, locateStep, type OffsetReading, type TrendLine } from './clock-jumps.js';
import { insertJumps, type ClockJump, type RecorderClock } from './clock.js';
import { Correlator } from './correlator.js';
import { medianOf } from './solve.js';

/** Loudness over time of one recorder: one value per step, from its own file time zero. */
export interface ActivityTrace {
  stepSec: number;
  values: Float32Array | Uint8Array;
}

const FIRST_SEC = 600;
const WINDOW_SEC = 120;
const LATER_SPAN_SEC = 2;
/** Heights of a correlation over its scatter that count as agreement: recorders of different rooms reached 6.8 over the whole range, of one room 11 and more. */
const FIRST_STRENGTH = 8;
const LATER_STRENGTH = 5;
/** Windows without agreement before the whole range is searched again. */
const MOST_MISSES = 4;
const COARSE_UNCERTAINTY_SEC = 0.003;
/** Steps below this are left to the lags of single calls. */
const LEAST_STEP_SEC = 0.012;
/** Steps summed for the search: about the length of a transform. */
const THIN = 4;
/** Longer studies are looked at in windows with gaps between. */
const LONG_SEC = 43200;
const LONG_HOP_SEC = 300;
/** Neighbours on each side that a knot is smoothed with. */
const SMOOTH = 5;

/**
 * First estimate of a recorder's offset against the reference from when there is sound at all: half-whitened cross-correlation of the
 * activity of both (its root, so that few loud sounds do not outvote many), over the whole allowed range for the first windows that agree, near the last values afterwards; steps (lost samples) are
 * found and the rest is smoothed. Good to the distances in the room (a few milliseconds); the lags of single calls refine it.
 * @throws VolaryError 'no-data' when no window agrees (the recorders do not hear the same sounds)
 */
export function findCoarseClock(reference: ActivityTrace, other: ActivityTrace, maxOffsetSec: number, name: string): RecorderClock {
  const first = findFirst(reference, other, maxOffsetSec, 0);
  if (!first) {
    throw new VolaryError('no-data', {
      what: 'no common sound found between this recorder and the reference', where: `recorder ${name}`,
      expected: `an offset within ${maxOffsetSec} s`, mend: 'check that both recorders ran in the same room, or raise --max-offset',
    });
  }
  const series = followOffset(reference, other, maxOffsetSec, first.offsetSec);
  if (series.length === 0) return { knotSec: [0], offsetSec: [first.offsetSec], uncertaintySec: [COARSE_UNCERTAINTY_SEC] };
  const jumps: ClockJump[] = [];
  const parts: OffsetReading[][] = [];
  let from = 0;
  for (const step of findSteps(series, LEAST_STEP_SEC)) {
    const before = smooth(series.slice(from, step.index + 1));
    const after = smooth(series.slice(step.index + 1));
    // Windows that straddle the step show either side: look from two windows before to two after.
    const place = locateInActivity(reference, other, series[step.index].tSec - WINDOW_SEC, series[step.index + 1].tSec + WINDOW_SEC, before[before.length - 1].offset, after[0].offset);
    const tSec = place?.tSec ?? (series[step.index].tSec + series[step.index + 1].tSec) / 2;
    jumps.push({ tSec, stepSec: after[0].offset - before[before.length - 1].offset, withinSec: place?.withinSec ?? WINDOW_SEC / 2 });
    parts.push(before.filter((e) => e.tSec < tSec));
    from = step.index + 1;
  }
  const last = jumps.length ? jumps[jumps.length - 1].tSec : -Infinity;
  parts.push(smooth(series.slice(from)).filter((e) => e.tSec > last));
  const knots = parts.flat();
  const clock = { knotSec: knots.map((e) => e.tSec), offsetSec: knots.map((e) => e.offset), uncertaintySec: knots.map(() => COARSE_UNCERTAINTY_SEC) };
  return jumps.length ? insertJumps(clock, jumps) : clock;
}

interface Found { offsetSec: number; strength: number }

function findFirst(reference: ActivityTrace, other: ActivityTrace, maxOffsetSec: number, start: number): Found | null {
  const width = Math.round(FIRST_SEC / reference.stepSec);
  for (let from = start; from === start || from + width / 4 < reference.values.length; from += width) {
    const found = correlateWindow(reference, other, from, width, 0, maxOffsetSec);
    if (found && found.strength > FIRST_STRENGTH) return found;
  }
  return null;
}

/** Offsets of half-overlapping windows that agree. */
function followOffset(reference: ActivityTrace, other: ActivityTrace, maxOffsetSec: number, firstSec: number): OffsetReading[] {
  const { stepSec } = reference;
  const out: OffsetReading[] = [];
  const width = Math.round(WINDOW_SEC / stepSec);
  const hop = Math.round((reference.values.length * stepSec > LONG_SEC ? LONG_HOP_SEC : WINDOW_SEC / 2) / stepSec);
  let centre = firstSec;
  let misses = 0;
  for (let from = 0; from === 0 || from + width / 2 < reference.values.length; from += hop) {
    let found = correlateWindow(reference, other, from, width, centre, LATER_SPAN_SEC);
    if (!found || found.strength < LATER_STRENGTH) {
      if (++misses < MOST_MISSES || misses % MOST_MISSES !== 0) continue;
      found = correlateWindow(reference, other, from, width, 0, maxOffsetSec);
      if (!found || found.strength < FIRST_STRENGTH) continue;
      centre = found.offsetSec;
    }
    misses = 0;
    out.push({ tSec: (from + Math.min(width, reference.values.length - from) / 2) * stepSec, offset: found.offsetSec });
    // One wrong window must not lead the search astray.
    const recent = out.slice(-3).map((e) => e.offset);
    if (recent.length === 3) centre = medianOf(recent);
  }
  return out;
}

/** Every reading replaced by a Theil-Sen line (Sen 1968) through its neighbours. */
function smooth(part: readonly OffsetReading[]): OffsetReading[] {
  return part.map((e, k) => {
    const near = part.slice(Math.max(0, k - SMOOTH), k + SMOOTH + 1);
    return { tSec: e.tSec, offset: readLine(fitTheilSen(near.map((n) => n.tSec), near.map((n) => n.offset)), e.tSec) };
  });
}

function readLine(line: TrendLine, x: number): number {
  return line.intercept + line.slope * x;
}

/** Finds where one offset stops to hold and another begins, from the common activity at either. */
function locateInActivity(reference: ActivityTrace, other: ActivityTrace, fromSec: number, toSec: number, beforeSec: number, afterSec: number): { tSec: number; withinSec: number } | null {
  const { stepSec } = reference;
  const evidence: { tSec: number; before: number; after: number }[] = [];
  const at = (index: number): number => Math.max(other.values[index - 1] ?? 0, other.values[index] ?? 0, other.values[index + 1] ?? 0);
  for (let k = Math.max(0, Math.round(fromSec / stepSec)); k < Math.min(reference.values.length, toSec / stepSec); k++) {
    const a = reference.values[k];
    if (a > 0) evidence.push({ tSec: k * stepSec, before: a * at(k + Math.round(beforeSec / stepSec)), after: a * at(k + Math.round(afterSec / stepSec)) });
  }
  return locateStep(evidence);
}

/**
 * Correlates reference steps [from, from + width) with the other recorder, offsets within centre +- span: first on traces thinned by THIN,
 * which tell whether there is agreement and where, then on all steps around that place.
 */
function correlateWindow(reference: ActivityTrace, other: ActivityTrace, from: number, width: number, centreSec: number, spanSec: number): Found | null {
  const { stepSec } = reference;
  const a = reference.values.subarray(from, Math.min(reference.values.length, from + width));
  const half = Math.ceil(spanSec / stepSec / THIN);
  const start = from + Math.round(centreSec / stepSec) - half * THIN;
  const thinA = removeMean(thin(a, 0, Math.floor(a.length / THIN)).map(Math.sqrt));
  if (thinA.length < 16) return null;
  const thinB = removeMean(thin(other.values, start, thinA.length + 2 * half).map(Math.sqrt));
  const r = reuseCorrelator(thinA.length + thinB.length).correlate(thinA, thinB, 2 * half + 1, true);
  let top = 0;
  for (let k = 1; k < r.length; k++) if (r[k] > r[top]) top = k;
  const mean = r.reduce((s, v) => s + v, 0) / r.length;
  const sd = Math.sqrt(r.reduce((s, v) => s + (v - mean) ** 2, 0) / r.length);
  if (!(sd > 0)) return null;
  return { offsetSec: (start - from + refine(removeMean(a), other.values, start, top * THIN)) * stepSec, strength: (r[top] - mean) / sd };
}

/** Tables of a transform are costly: windows of one size share them. */
const correlators = new Map<number, Correlator>();

function reuseCorrelator(leastLength: number): Correlator {
  const key = Math.ceil(log2(leastLength));
  let found = correlators.get(key);
  if (!found) correlators.set(key, found = new Correlator(pow2(key)));
  return found;
}

/** Best shift within two thinned steps of one, in steps after `start`, by a parabola through the correlation of all steps. */
function refine(a: Float64Array, b: Float32Array | Uint8Array, start: number, around: number): number {
  const least = around - 2 * THIN;
  const sums = Array.from({ length: 4 * THIN + 1 }, (_, n) => {
    const shift = start + least + n;
    let s = 0;
    for (let k = Math.max(0, -shift); k < Math.min(a.length, b.length - shift); k++) s += a[k] * b[k + shift];
    return s;
  });
  let best = 0;
  sums.forEach((v, n) => { if (v > sums[best]) best = n; });
  const curve = (sums[best - 1] ?? sums[best]) - 2 * sums[best] + (sums[best + 1] ?? sums[best]);
  const shift = curve < 0 && best > 0 && best < sums.length - 1 ? (0.5 * (sums[best - 1] - sums[best + 1])) / curve : 0;
  return least + best + shift;
}

/** Sums of THIN values each, from an index on; what lies outside counts as silence. */
function thin(values: Float32Array | Uint8Array, from: number, count: number): Float32Array {
  const out = new Float32Array(count);
  for (let k = Math.max(0, -from); k < Math.min(count * THIN, values.length - from); k++) out[Math.floor(k / THIN)] += values[from + k];
  return out;
}

function removeMean(x: Float32Array | Uint8Array): Float64Array {
  let s = 0;
  for (const v of x) s += v;
  const mean = s / Math.max(1, x.length);
  return Float64Array.from(x, (v) => v - mean);
}
