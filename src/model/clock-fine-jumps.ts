import { findSteps, fitTheilSen, locateStep } from './clock-jumps.js';
import { STRONG_NATS, type Ballot, type StartWindow } from './clock-start.js';
import { readOffset, type ClockJump, type RecorderClock } from './clock.js';

const LEAST_STEP_MS = 0.15;
/** Votes that both sides of a step must have in favour of it. */
const LEAST_FAVOUR = 1.5;
/** Reach over which the rate of the coarse clock is read, seconds. */
const REACH_SEC = 60;

export function sumSteps(jumps: readonly ClockJump[], t: number): number {
  return jumps.reduce((s, j) => (t >= j.tSec ? s + j.stepSec * 1e3 : s), 0);
}

/** Coarse offset without its steps, ms; inside a gap of lost samples the clock is on its way down, so it is read behind the gap. */
export function readLevel(coarse: RecorderClock, t: number): number {
  const gap = coarse.jumps?.find((j) => t >= j.tSec && t < j.tSec + Math.max(0, -j.stepSec) + 2e-3);
  const at = gap ? gap.tSec + Math.max(0, -gap.stepSec) + 2e-3 : t;
  return readOffset(coarse, at) * 1e3 - sumSteps(coarse.jumps ?? [], at);
}

/** A window whose offset and rate are those of the files, steps of the coarse clock taken away. */
type Total = StartWindow;

export function addCoarse(windows: readonly StartWindow[], coarse: RecorderClock): Total[] {
  return windows.map((w) => ({
    ...w, offsetMs: w.offsetMs + readLevel(coarse, w.tSec),
    ratePpm: w.ratePpm + (1e3 * (readLevel(coarse, w.tSec + REACH_SEC) - readLevel(coarse, w.tSec - REACH_SEC))) / (2 * REACH_SEC),
  }));
}

/** Steps too small for the coarse clock, from the windows and placed by single exchanges. */
export function findFineJumps(totals: readonly Total[], coarse: RecorderClock, ballotsIn: (fromSec: number, toSec: number) => Ballot[]): ClockJump[] {
  const strong = totals.filter((w) => w.strength >= STRONG_NATS / 2);
  return findSteps(strong.map((w) => ({ tSec: w.tSec, offset: w.offsetMs })), LEAST_STEP_MS).flatMap(({ index }) => {
    const before = strong.slice(Math.max(0, index - 4), index);
    const after = strong.slice(index + 2, index + 6);
    const [left, right] = [before, after].map((w) => fitTheilSen(w.map((e) => e.tSec), w.map((e) => e.offsetMs)));
    const [from, to] = [strong[Math.max(0, index - 1)].tSec - strong[index].spanSec / 2, strong[Math.min(strong.length - 1, index + 2)].tSec + strong[index].spanSec / 2];
    // An exchange across the step agrees with neither side.
    const fit = (z: number): number => {
      const v = 1 / (1 + (z / 0.1) ** 2);
      return v > 0.2 ? v : 0;
    };
    const evidence = ballotsIn(from, to).map((x) => {
      const z = x.halfDifference + readLevel(coarse, x.meanSec);
      const before = x.weight * fit(z - left.intercept - left.slope * x.meanSec);
      const after = x.weight * fit(z - right.intercept - right.slope * x.meanSec);
      // Both calls lie before the step, or both behind it: the later or the earlier of them is what bounds it.
      return { tSec: x.meanSec + (before > after ? 0.5 : -0.5) * Math.abs(x.apartSec), before, after };
    }).sort((x, y) => x.tSec - y.tSec);
    const place = locateStep(evidence);
    // Windows may waver by themselves; the exchanges on both sides have to bear the step out.
    if (!place || place.favour < LEAST_FAVOUR) return [];
    // The lines on both sides, met between the windows: the rate may differ. Single readings find the moment later.
    const tSec = (strong[index].tSec + strong[index + 1].tSec) / 2;
    return [{ tSec, stepSec: (right.intercept - left.intercept + (right.slope - left.slope) * tSec) / 1e3, withinSec: strong[index].spanSec / 2 }];
  });
}
