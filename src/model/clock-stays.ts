import { readDistance, type ClockState, type ReadingGroup } from './clock-groups.js';
import type { LagReadings } from './clock-readings.js';

/** Stays are cut at multiples of this, so that the equations stay banded, seconds. */
export const STAY_SEC = 600;
/** A side that was not heard for so long is over: birds turn and move, seconds. */
const SILENT_SEC = 150;
/** Both directions must be heard within this of each other, seconds. */
const NEAR_SEC = 60;

export interface StaySettings {
  /** Sides of both directions belong together when their distances differ by less (twice the skew that may be), ms. */
  gapMs: number;
  /** Readings of one direction that differ by less belong to one side, ms. */
  sameMs: number;
}

/** Readings of one direction of a pair that keep one distance: the caller's mouth and the hearer's microphone stay where they are. */
interface Side { members: number[]; distance: number; firstSec: number; lastSec: number }

/**
 * Groups the readings of every pair into stays. Readings of one direction are followed in time, and those that keep their distance are a side. Sides of both
 * directions that are heard at one time and differ by less than `gapMs` are matched, the nearest first. A bird that turns begins a new side where it calls and
 * none where it hears, so that a side is shared out in time among its partners. What is left stays one way.
 * @param r readings in order of time
 */
export function formStays(r: LagReadings, s: ClockState, recorderOfTrack: readonly number[], settings: StaySettings): ReadingGroup[] {
  const cells = new Map<number, number[]>();
  const tracks = recorderOfTrack.length;
  for (let m = 0; m < r.count; m++) {
    const key = (Math.floor(r.tSec[m] / STAY_SEC) * tracks + Math.min(r.from[m], r.to[m])) * tracks + Math.max(r.from[m], r.to[m]);
    const cell = cells.get(key);
    if (cell) cell.push(m); else cells.set(key, [m]);
  }
  const distanceOf = (m: number): number => readDistance(r, m, s, recorderOfTrack);
  const stays: ReadingGroup[] = [];
  for (const cell of cells.values()) {
    const there = followSides(cell.filter((m) => r.from[m] < r.to[m]), r, distanceOf, settings.sameMs);
    const back = followSides(cell.filter((m) => r.from[m] > r.to[m]), r, distanceOf, settings.sameMs);
    const left = new Set(cell);
    for (const members of matchSides(there, back, r, settings.gapMs, left)) stays.push(makeStay(members, true));
    // Within one recorder a single direction says nothing.
    if (recorderOfTrack[r.from[cell[0]]] === recorderOfTrack[r.to[cell[0]]]) continue;
    for (const side of [...there, ...back]) {
      const rest = side.members.filter((m) => left.has(m));
      if (rest.length > 0) stays.push(makeStay(rest, false));
    }
  }
  return stays;
}

function makeStay(members: readonly number[], bothWays: boolean): ReadingGroup {
  return { members: Int32Array.from(members).sort(), bothWays, askewMs: 0, askewWeight: 1, askewVariance: 0 };
}

function followSides(members: readonly number[], r: LagReadings, distanceOf: (m: number) => number, sameMs: number): Side[] {
  const sides: Side[] = [];
  for (const m of members) {
    const d = distanceOf(m);
    let best: Side | undefined;
    for (const side of sides) {
      const apart = Math.abs(side.distance - d);
      if (apart <= sameMs && r.tSec[m] - side.lastSec <= SILENT_SEC && (!best || apart < Math.abs(best.distance - d))) best = side;
    }
    if (!best) { sides.push({ members: [m], distance: d, firstSec: r.tSec[m], lastSec: r.tSec[m] }); continue; }
    best.members.push(m);
    best.lastSec = r.tSec[m];
    // The mean of all, later of about the last dozen: the clock that distances are read with may still be off in rate.
    best.distance += (d - best.distance) / Math.min(12, best.members.length);
  }
  return sides;
}

/** Readings of each match; what is taken is no longer in `left`. */
function matchSides(there: readonly Side[], back: readonly Side[], r: LagReadings, gapMs: number, left: Set<number>): number[][] {
  const matches = there.flatMap((f) => back.map((b) => ({ f, b, apart: Math.abs(f.distance - b.distance), fromSec: Math.max(f.firstSec, b.firstSec) - NEAR_SEC, toSec: Math.min(f.lastSec, b.lastSec) + NEAR_SEC })))
    .filter((e) => e.apart <= gapMs && e.toSec - e.fromSec >= NEAR_SEC).sort((p, q) => p.apart - q.apart);
  const out: number[][] = [];
  for (const { f, b, fromSec, toSec } of matches) {
    const within = (side: Side): number[] => side.members.filter((m) => left.has(m) && r.tSec[m] >= fromSec && r.tSec[m] <= toSec);
    const [x, y] = [within(f), within(b)];
    if (x.length === 0 || y.length === 0) continue;
    for (const m of [...x, ...y]) left.delete(m);
    out.push([...x, ...y]);
  }
  return out;
}
