import { VolaryError } from '../schema/errors.js';
import { correlateWindow, type ActivityTrace } from './activity-correlation.js';
import { findSteps, fitTheilSen, locateStep, type OffsetReading, type TrendLine } from './clock-jumps.js';
import { insertJumps, type ClockJump, type RecorderClock } from './clock.js';
import { findFirstOffsets, FIRST_STRENGTH } from './first-offsets.js';
import { medianOf } from './solve.js';

const WINDOW_SEC = 120;
const LATER_SPAN_SEC = 2;
/** Heights of a correlation over its scatter that count as agreement near the last values. */
const LATER_STRENGTH = 5;
/** Windows without agreement before the whole range is searched again. */
const MOST_MISSES = 4;
const COARSE_UNCERTAINTY_SEC = 0.003;
/** Steps below this are left to the lags of single calls. */
const LEAST_STEP_SEC = 0.012;
/** Longer studies are looked at in windows with gaps between. */
const LONG_SEC = 43200;
const LONG_HOP_SEC = 300;
/** Neighbours on each side that a knot is smoothed with. */
const SMOOTH = 5;

/**
 * First estimates of the offsets of recorders against the first of them from when there is sound at all: half-whitened cross-correlation of the
 * activity of both (its root, so that few loud sounds do not outvote many), over the whole allowed range at first, near the last values afterwards; steps (lost samples) are
 * found and the rest is smoothed. Good to the distances in the room (a few milliseconds); the lags of single calls refine it.
 * @param traces one per recorder; none where a recorder has no tracks
 * @throws VolaryError 'no-data' when a recorder agrees with no other (they do not hear the same sounds)
 */
export function findCoarseClocks(traces: readonly (ActivityTrace | undefined)[], maxOffsetSec: number, names: readonly string[]): RecorderClock[] {
  const first = findFirstOffsets(traces, maxOffsetSec);
  return traces.map((trace, r) => {
    if (r === 0 || !trace) return { knotSec: [0], offsetSec: [0], uncertaintySec: [0] };
    const [reference] = traces, offsetSec = first[r];
    if (!reference || offsetSec === undefined) {
      throw new VolaryError('no-data', {
        what: 'no common sound found between this recorder and the reference', where: `recorder ${names[r]}`,
        expected: `an offset within ${maxOffsetSec} s`, mend: 'check that both recorders ran in the same room, or raise --max-offset',
      });
    }
    return followClock(reference, trace, maxOffsetSec, offsetSec);
  });
}

/** The clock of one recorder from its first offset on. */
function followClock(reference: ActivityTrace, other: ActivityTrace, maxOffsetSec: number, firstSec: number): RecorderClock {
  const series = followOffset(reference, other, maxOffsetSec, firstSec);
  if (series.length === 0) return { knotSec: [0], offsetSec: [firstSec], uncertaintySec: [COARSE_UNCERTAINTY_SEC] };
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
