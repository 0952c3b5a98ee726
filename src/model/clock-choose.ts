import { exp } from '../numeric/elementary.js';
import { readDistance, type ClockState } from './clock-groups.js';
import { keepReadings, type LagReadings } from './clock-readings.js';

/** Peaks of one track within this time are rivals: those of one call, seconds. */
const CALL_SEC = 0.05;
/** Readings of a pair that agree in distance within this bear each other out, ms of travel; the farther apart in time, the less, seconds. */
const AGREE_MS = 0.07;
const STAY_SEC = 120;
/** A reading of the other direction says more than one of the same: echoes repeat, but seldom both ways. */
const OPPOSITE = 3;
const LEAST_SUPPORT = 0.3;
const MOST_COMPARED = 200;
const LEAST_DISTANCE_MS = -0.15;
const MOST_DISTANCE_MS = 25;
/** A radio link heard in another channel: no travel, call after call, and never the other way. */
const LEAK_MS = 0.05;
const LEAST_LEAK = 4;

/**
 * The readings between recorders that a start within a tenth of a millisecond bears out: of the peaks of one call the one whose distance others of the
 * pair show as well, none that gives a distance that cannot be, none of a radio link heard in another channel. Readings within a recorder stay.
 */
export function chooseReadings(r: LagReadings, state: ClockState, recorderOfTrack: readonly number[]): LagReadings {
  const directions = new Map<number, number[]>();
  const distance = new Float64Array(r.count);
  for (let m = 0; m < r.count; m++) {
    if (recorderOfTrack[r.from[m]] === recorderOfTrack[r.to[m]]) continue;
    distance[m] = readDistance(r, m, state, recorderOfTrack);
    const key = r.from[m] * 65536 + r.to[m];
    const list = directions.get(key);
    if (list) list.push(m); else directions.set(key, [m]);
  }
  const isKept = new Uint8Array(r.count).fill(1);
  for (const [key, own] of directions) {
    const back = directions.get((key % 65536) * 65536 + Math.floor(key / 65536)) ?? [];
    for (const m of own) isKept[m] = 0;
    const isLeak = own.filter((m) => Math.abs(distance[m]) < LEAK_MS).length >= LEAST_LEAK && !back.some((m) => Math.abs(distance[m]) < 2 * LEAK_MS);
    const fit = own.filter((m) => distance[m] > LEAST_DISTANCE_MS && distance[m] < MOST_DISTANCE_MS && !(isLeak && Math.abs(distance[m]) < LEAK_MS));
    const support = fit.map((m) => supportOf(r, distance, m, fit, 1) + supportOf(r, distance, m, back, OPPOSITE));
    for (let from = 0, k = 1; k <= fit.length; k++) {
      if (k < fit.length && r.tSec[fit[k]] - r.tSec[fit[from]] < CALL_SEC) continue;
      let best = from;
      for (let n = from; n < k; n++) if (support[n] > support[best]) best = n;
      if (support[best] >= LEAST_SUPPORT) isKept[fit[best]] = 1;
      from = k;
    }
  }
  return keepReadings(r, (m) => isKept[m] === 1);
}

/** How many readings of a direction show the distance of one, those near in time before others. */
function supportOf(r: LagReadings, distance: Float64Array, m: number, among: readonly number[], weight: number): number {
  let sum = 0;
  const middle = findNear(r, among, r.tSec[m]);
  for (let k = Math.max(0, middle - MOST_COMPARED / 2); k < Math.min(among.length, middle + MOST_COMPARED / 2); k++) {
    const n = among[k];
    const apartSec = Math.abs(r.tSec[n] - r.tSec[m]);
    const z = (distance[n] - distance[m]) / AGREE_MS;
    if (z > 4 || z < -4 || (weight === 1 && apartSec < CALL_SEC)) continue;
    sum += weight * exp(-0.5 * z * z - apartSec / STAY_SEC);
  }
  return sum;
}

function findNear(r: LagReadings, among: readonly number[], tSec: number): number {
  let low = 0;
  let high = among.length;
  while (low < high) {
    const mid = (low + high) >> 1;
    if (r.tSec[among[mid]] < tSec) low = mid + 1; else high = mid;
  }
  return low;
}
