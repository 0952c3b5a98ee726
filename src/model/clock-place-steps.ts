import { readDistance, type ClockState, type ReadingGroup, type StepPlace } from './clock-groups.js';
import { locateStep, type SideEvidence } from './clock-jumps.js';
import type { LagReadings } from './clock-readings.js';
import type { ClockJump } from './clock.js';

/** How far around a step single readings are looked at, seconds. */
const REACH_SEC = 180;
/** A reading belongs to a known place of both birds when it lies within this of its distance, ms. */
const SAME_DISTANCE_MS = 0.08;
/** Single readings may be wrong: so many against a split are nothing. */
const SLACK = 2;

/**
 * Places steps anew once distances are known: a reading tells the side on which it gives a distance that the same pair of tracks also shows in
 * exchanges nearby.
 * @returns places and jumps with sharper times, in the order given
 */
export function placeSteps(r: LagReadings, state: ClockState, groups: readonly ReadingGroup[], recorderOfTrack: readonly number[], jumps: readonly ClockJump[]): { steps: StepPlace[]; jumps: ClockJump[] } {
  const steps: StepPlace[] = [];
  const placed: ClockJump[] = [];
  state.steps.forEach((step, n) => {
    const near = (t: number): boolean => Math.abs(t - step.tSec) < REACH_SEC + jumps[n].withinSec;
    const known = collectDistances(r, state, groups, recorderOfTrack, near);
    const evidence: SideEvidence[] = [];
    for (let m = 0; m < r.count; m++) {
      const t = r.tSec[m];
      const [a, b] = [recorderOfTrack[r.from[m]], recorderOfTrack[r.to[m]]];
      if (a === b || (a !== step.recorder && b !== step.recorder) || !near(t)) continue;
      const distances = known.get(pairKey(r, m));
      if (!distances) continue;
      const d = readDistance(r, m, state, recorderOfTrack);
      // What the reading would give on the other side of the step.
      const sign = b === step.recorder ? 1 : -1;
      const other = d + sign * (t >= step.tSec ? 1 : -1) * state.stepMs[n];
      const [before, after] = t >= step.tSec ? [other, d] : [d, other];
      const fits = (v: number): number => Number(distances.some((k) => Math.abs(k - v) < SAME_DISTANCE_MS));
      const [x, y] = [fits(before), fits(after)];
      if (x !== y) evidence.push({ tSec: t, before: x, after: y });
    }
    const place = locateStep(evidence, SLACK);
    const use = place && place.favour > 2 * SLACK;
    steps.push({ recorder: step.recorder, tSec: use ? place.tSec : step.tSec });
    placed.push(use ? { ...jumps[n], tSec: place.tSec, withinSec: Math.max(place.withinSec, 0.5) } : jumps[n]);
  });
  return { steps, jumps: placed };
}

function pairKey(r: LagReadings, m: number): number {
  return Math.min(r.from[m], r.to[m]) * 65536 + Math.max(r.from[m], r.to[m]);
}

/** Distances of the exchanges of every pair near a step, ms of travel. */
function collectDistances(r: LagReadings, state: ClockState, groups: readonly ReadingGroup[], recorderOfTrack: readonly number[], near: (t: number) => boolean): Map<number, number[]> {
  const out = new Map<number, number[]>();
  for (const g of groups) {
    if (!g.bothWays || g.askewWeight < 0.5 || !near(r.tSec[g.members[0]])) continue;
    let sum = 0;
    for (const m of g.members) sum += readDistance(r, m, state, recorderOfTrack);
    const key = pairKey(r, g.members[0]);
    const list = out.get(key);
    if (list) list.push(sum / g.members.length); else out.set(key, [sum / g.members.length]);
  }
  return out;
}
