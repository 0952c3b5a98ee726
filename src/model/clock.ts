/** Offset of every recorder's clock against the first recorder's: file time = reference time + offset. */
export interface RecorderClock {
  /** Reference times of the knots, seconds, rising. */
  knotSec: number[];
  /** Offsets at the knots, seconds; linear between, continued with the end slopes. */
  offsetSec: number[];
  /** Standard uncertainty at the knots, seconds. */
  uncertaintySec: number[];
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
  let k = 0;
  while (k < t.length - 2 && tRefSec >= t[k + 1]) k++;
  return v[k] + ((v[k + 1] - v[k]) * (tRefSec - t[k])) / (t[k + 1] - t[k]);
}

/** Rate of a recorder against the reference at a reference time, parts per million. */
export function readRatePpm(clock: RecorderClock, tRefSec: number): number {
  const { knotSec: t, offsetSec: v } = clock;
  if (t.length === 1) return 0;
  let k = 0;
  while (k < t.length - 2 && tRefSec >= t[k + 1]) k++;
  return ((v[k + 1] - v[k]) / (t[k + 1] - t[k])) * 1e6;
}

/** Reference time of a recorder's file time, seconds (fixed-point iteration; the rates are far below one). */
export function toReference(clock: RecorderClock, fileSec: number): number {
  let t = fileSec - clock.offsetSec[0];
  for (let k = 0; k < 4; k++) t = fileSec - readOffset(clock, t);
  return t;
}
