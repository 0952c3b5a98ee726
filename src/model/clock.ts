/** A step in a recorder's clock: samples lost (negative step) or inserted (positive). */
export interface ClockJump {
  tSec: number;
  stepSec: number;
  /** The jump lies within +- this of tSec, seconds: sounds are needed to see it. */
  withinSec: number;
}

/** Offset of every recorder's clock against the first recorder's: file time = reference time + offset. */
export interface RecorderClock {
  /** Reference times of the knots, seconds, rising. */
  knotSec: number[];
  /** Offsets at the knots, seconds; linear between, continued with the end slopes. */
  offsetSec: number[];
  /** Standard uncertainty at the knots, seconds. */
  uncertaintySec: number[];
  /** Steps, in order of time; each lies between two knots that are close together. */
  jumps?: ClockJump[];
}

/** One entry per recorder; the first is the reference and has offset zero. */
export type ClockModel = RecorderClock[];

export function createZeroClock(recorderCount: number): ClockModel {
  return Array.from({ length: recorderCount }, () => ({ knotSec: [0], offsetSec: [0], uncertaintySec: [0] }));
}

/** Offset of a recorder at a reference time, seconds. */
export function readOffset(clock: RecorderClock, tRefSec: number): number {
  const { knotSec: t, offsetSec: v } = clock;
  if (t.length === 1) return v[0];
  const k = findPiece(t, tRefSec);
  return v[k] + ((v[k + 1] - v[k]) * (tRefSec - t[k])) / (t[k + 1] - t[k]);
}

/** Rate of a recorder against the reference at a reference time, parts per million; inside a jump the rate beside it. */
export function readRatePpm(clock: RecorderClock, tRefSec: number): number {
  const { knotSec: t, offsetSec: v } = clock;
  if (t.length === 1) return 0;
  let k = findPiece(t, tRefSec);
  if (clock.jumps?.some((j) => j.tSec >= t[k] && j.tSec <= t[k + 1] && t[k + 1] - t[k] < 2 * Math.abs(j.stepSec) + JUMP_WIDTH_SEC)) k += k > 0 ? -1 : 1;
  return ((v[k + 1] - v[k]) / (t[k + 1] - t[k])) * 1e6;
}

/** Standard uncertainty at a reference time, seconds: linear between the knots, that of the end knots outside. */
export function readUncertainty(clock: RecorderClock, tRefSec: number): number {
  const { knotSec: t, uncertaintySec: u } = clock;
  if (t.length === 1 || tRefSec <= t[0]) return u[0];
  if (tRefSec >= t[t.length - 1]) return u[t.length - 1];
  const k = findPiece(t, tRefSec);
  return u[k] + ((u[k + 1] - u[k]) * (tRefSec - t[k])) / (t[k + 1] - t[k]);
}

/** Reference time of a recorder's file time, seconds. File time never runs backwards, so the piece is found by bisection. */
export function toReference(clock: RecorderClock, fileSec: number): number {
  const { knotSec: t, offsetSec: v } = clock;
  if (t.length === 1) return fileSec - v[0];
  let low = 0;
  let high = t.length - 2;
  while (low < high) {
    const mid = (low + high + 1) >> 1;
    if (t[mid] + v[mid] <= fileSec) low = mid; else high = mid - 1;
  }
  const span = t[low + 1] + v[low + 1] - t[low] - v[low];
  // While samples were being lost the file time stood still: any moment of the gap will do.
  return span > 0 ? t[low] + ((fileSec - t[low] - v[low]) * (t[low + 1] - t[low])) / span : t[low + 1];
}

/** Least width of the piece that holds an upward jump, seconds. */
export const JUMP_WIDTH_SEC = 1e-3;

/** Index k of the piece [k, k + 1] that serves a time; the end pieces serve what lies outside. */
function findPiece(t: readonly number[], tSec: number): number {
  let low = 0;
  let high = t.length - 2;
  while (low < high) {
    const mid = (low + high + 1) >> 1;
    if (t[mid] <= tSec) low = mid; else high = mid - 1;
  }
  return low;
}

/**
 * Gives a clock its steps: around each jump two knots, offsets continued from either side. Samples lost make the file time stand still
 * while the reference goes on, so a negative step takes its own length; a positive one takes a millisecond.
 * Beside a step half of it is uncertain, because its moment is known from sounds only.
 * @param clock knots of the parts between the jumps, none of them inside a jump
 */
export function insertJumps(clock: RecorderClock, jumps: readonly ClockJump[]): RecorderClock {
  const out: RecorderClock = { knotSec: [], offsetSec: [], uncertaintySec: [], jumps: [...jumps] };
  const bounds = [-Infinity, ...jumps.map((j) => j.tSec), Infinity];
  let startSec = -Infinity;
  for (let p = 0; p + 1 < bounds.length; p++) {
    const inside = clock.knotSec.map((_, k) => k).filter((k) => clock.knotSec[k] > bounds[p] && clock.knotSec[k] < bounds[p + 1]);
    const part = { knotSec: inside.map((k) => clock.knotSec[k]), offsetSec: inside.map((k) => clock.offsetSec[k]), uncertaintySec: inside.map((k) => clock.uncertaintySec[k]) };
    const push = (tSec: number, least = 0): void => {
      out.knotSec.push(tSec);
      out.offsetSec.push(readOffset(part, tSec));
      out.uncertaintySec.push(Math.max(least, readUncertainty(part, tSec)));
    };
    if (inside.length === 0) continue;
    if (p > 0) push(startSec, Math.abs(jumps[p - 1].stepSec) / 2);
    inside.filter((k) => clock.knotSec[k] > startSec).forEach((k) => push(clock.knotSec[k]));
    if (p < jumps.length) {
      push(bounds[p + 1], Math.abs(jumps[p].stepSec) / 2);
      startSec = bounds[p + 1] + Math.max(JUMP_WIDTH_SEC, -jumps[p].stepSec);
    }
  }
  return out;
}
