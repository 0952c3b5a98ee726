import type { HabitMeasure, MovementRow } from '../../schema/analysis-rows.js';
import type { CallRow, SoundRow } from '../../schema/rows.js';
import type { UsableTime } from '../exclusions/usable-time.js';

/** A measured span of time: two sums that add over spans, and what they mean together. */
export interface Tally { top: number; bottom: number }

/** One bird's course of one measure. */
export interface Series {
  measure: HabitMeasure;
  bird: string;
  tally(fromSec: number, toSec: number): Tally;
  /** Value of a tally: a rate or a mean; where `isLog`, the mean of logarithms. */
  value(tally: Tally): number;
  /** Changes are differences of logarithms, so that quiet hours with long intervals do not outweigh the others. */
  isLog: boolean;
  /** Not how much but when in the day: compared by the profile over the day. */
  isTiming?: boolean;
  /** Whether a span of this length has enough in it to be compared. */
  isEnough(tally: Tally, lengthSec: number): boolean;
}

/** Longer silences say nothing about timing within a round of calling. */
const LONGEST_INTERVAL_SEC = 600;
const LEAST_INTERVALS = 5;

/** Events per usable hour. */
export function createRateSeries(measure: HabitMeasure, time: UsableTime, timesSec: readonly number[]): Series {
  const times = Float64Array.from(timesSec);
  return {
    measure, bird: time.bird,
    tally: (from, to) => ({ top: findFirst(times, to) - findFirst(times, from), bottom: time.measureSec(from, to) / 3600 }),
    value: (t) => t.top / t.bottom, isLog: false,
    isEnough: (t, lengthSec) => t.bottom >= lengthSec / 7200,
  };
}

/** When in the day a bird calls. */
export function createTimingSeries(time: UsableTime, timesSec: readonly number[]): Series {
  return { ...createRateSeries('timing', time, timesSec), isTiming: true };
}

/** Body sounds per usable hour, from the bird's own track. */
export function createBodySeries(time: UsableTime, sounds: readonly SoundRow[]): Series {
  const own = sounds.filter((s) => s.kind === 'body' && s.track === time.bird && time.includes(s.onsetSec)).map((s) => s.onsetSec).sort((a, b) => a - b);
  return createRateSeries('movement', time, own);
}

/** Geometric mean of the intervals from one call to the next, onset to onset, in seconds. */
export function createIntervalSeries(time: UsableTime, calls: readonly CallRow[]): Series {
  const times: number[] = [];
  const logs: number[] = [];
  for (let n = 0; n + 1 < calls.length; n++) {
    const interval = calls[n + 1].onsetSec - calls[n].onsetSec;
    if (!(interval > 0) || interval > LONGEST_INTERVAL_SEC) continue;
    times.push(calls[n].onsetSec);
    logs.push(Math.log(interval));
  }
  return { ...createSumSeries('interval', time.bird, times, logs), value: (t) => t.top / t.bottom, isLog: true, isEnough: (t) => t.bottom >= LEAST_INTERVALS };
}

/** Mean value of a movement sensor. */
export function createMovementSeries(bird: string, rows: readonly MovementRow[]): Series {
  const own = rows.filter((r) => r.bird === bird);
  return { ...createSumSeries('movement', bird, own.map((r) => r.timeSec), own.map((r) => r.value)), value: (t) => t.top / t.bottom, isLog: false, isEnough: (t) => t.bottom >= 1 };
}

function createSumSeries(measure: HabitMeasure, bird: string, timesSec: readonly number[], values: readonly number[]): Pick<Series, 'measure' | 'bird' | 'tally'> {
  const times = Float64Array.from(timesSec);
  const sums = new Float64Array(values.length + 1);
  values.forEach((v, n) => { sums[n + 1] = sums[n] + v; });
  return {
    measure, bird,
    tally: (from, to) => {
      const [first, last] = [findFirst(times, from), findFirst(times, to)];
      return { top: sums[last] - sums[first], bottom: last - first };
    },
  };
}

/** Index of the first time at or after a moment. */
function findFirst(times: Float64Array, tSec: number): number {
  let low = 0;
  let high = times.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (times[middle] < tSec) low = middle + 1;
    else high = middle;
  }
  return low;
}
