import { describe, expect, it } from 'vitest';
import type { ActivityTrace } from '../../src/model/activity-correlation.js';
import { findCoarseClocks } from '../../src/model/coarse-clock.js';
import { readOffset, type RecorderClock } from '../../src/model/clock.js';
import { VolaryError } from '../../src/schema/errors.js';
import { makeRandom } from './clock-synthetic.js';

const STEP_SEC = 0.0029;
const findCoarseClock = (a: ActivityTrace, b: ActivityTrace, maxOffsetSec: number, name: string): RecorderClock => findCoarseClocks([a, b], maxOffsetSec, ['A', name])[1];

/** Calls that both recorders hear at their own file times, and as many that only one hears. */
function makeTraces(seed: number, durationSec: number, offsetAt: (t: number) => number, sharedShare = 0.5): [ActivityTrace, ActivityTrace] {
  const { uniform } = makeRandom(seed);
  const steps = Math.round(durationSec / STEP_SEC);
  const a = new Float32Array(steps);
  const b = new Float32Array(steps);
  const call = (into: Float32Array, t: number, length: number): void => {
    for (let k = Math.round(t / STEP_SEC); k < (t + length) / STEP_SEC; k++) if (k >= 0 && k < steps) into[k] += 10;
  };
  for (let t = 0; t < durationSec; t -= Math.log(1 - uniform())) {
    const length = 0.03 + 0.15 * uniform();
    const shared = uniform() < sharedShare;
    const first = uniform() < 0.5;
    // Sound takes up to 6 ms from one side to the other.
    const travel = 0.006 * uniform() * (first ? 1 : -1);
    if (shared || first) call(a, t, length);
    if (shared || !first) call(b, t + offsetAt(t) + (shared ? travel : 0), length);
  }
  return [{ stepSec: STEP_SEC, values: a }, { stepSec: STEP_SEC, values: b }];
}

/** The same, but from one time to another each recorder hears something else. */
function makeUnshared(seed: number, durationSec: number, spanSec: [number, number], offsetAt: (t: number) => number): [ActivityTrace, ActivityTrace] {
  const [a, b] = makeTraces(seed, durationSec, offsetAt);
  const [other] = makeTraces(seed + 10, durationSec, () => 0);
  const [from, to] = spanSec.map((t) => Math.round(t / STEP_SEC));
  b.values.set(other.values.subarray(from, to), from);
  return [a, b];
}

describe('coarse clock', () => {
  it.each([[1, 7.3], [2, -7.3], [3, 0], [4, 41], [5, -0.02]])('seed %i: finds an offset of %f s by itself', (seed, offset) => {
    const [a, b] = makeTraces(seed, 300, () => offset);
    const clock = findCoarseClock(a, b, 60, 'B');
    // Travel and half a call's rise: a few milliseconds, which single calls refine later.
    for (const t of [30, 150, 270]) expect(Math.abs(readOffset(clock, t) - offset)).toBeLessThan(0.008);
  });

  it.each([11, 12, 13])('seed %i: is not led astray by long loud noise that each hears by itself', (seed) => {
    const [a, b] = makeTraces(seed, 90, () => 3.1, 0.5);
    for (const [n, x] of [a, b].entries()) {
      for (const startSec of n === 0 ? [10, 41] : [22, 60]) for (let k = Math.round(startSec / STEP_SEC); k < (startSec + 9) / STEP_SEC; k++) x.values[k] += 12;
    }
    expect(Math.abs(readOffset(findCoarseClock(a, b, 60, 'B'), 45) - 3.1)).toBeLessThan(0.008);
  });

  it('follows 60 ppm over half an hour', () => {
    const [a, b] = makeTraces(6, 1800, (t) => -3 + 60e-6 * t);
    const clock = findCoarseClock(a, b, 60, 'B');
    for (let t = 60; t < 1740; t += 60) expect(Math.abs(readOffset(clock, t) - (-3 + 60e-6 * t))).toBeLessThan(0.008);
    expect(clock.jumps).toBeUndefined();
  });

  it.each([-0.0929, 0.4])('finds and places a step of %f s', (stepSec) => {
    const [a, b] = makeTraces(7, 1800, (t) => 2 + 20e-6 * t + (t >= 1000 ? stepSec : 0));
    const clock = findCoarseClock(a, b, 60, 'B');
    expect(clock.jumps).toHaveLength(1);
    const [jump] = clock.jumps!;
    expect(Math.abs(jump.stepSec - stepSec)).toBeLessThan(0.006);
    expect(Math.abs(jump.tSec - 1000)).toBeLessThan(Math.max(5, jump.withinSec));
    for (const t of [100, 500, 900, 1100, 1700]) expect(Math.abs(readOffset(clock, t) - (2 + 20e-6 * t + (t >= 1000 ? stepSec : 0)))).toBeLessThan(0.008);
  });

  it('finds its place again after a step beyond the reach of the search', () => {
    const offsetAt = (t: number): number => (t < 700 ? 4 : -9), [a, b] = makeTraces(9, 1500, offsetAt), clock = findCoarseClock(a, b, 60, 'B');
    expect(clock.jumps).toHaveLength(1);
    expect(Math.abs(clock.jumps![0].stepSec + 13)).toBeLessThan(0.006);
    for (const t of [60, 300, 600, 1100, 1400]) expect(Math.abs(readOffset(clock, t) - offsetAt(t))).toBeLessThan(0.008);
  });

  it('keeps its place over most of an hour in which each recorder hears something else', () => {
    const clock = findCoarseClock(...makeUnshared(10, 3700, [300, 3400], () => 4), 20, 'B');
    for (let t = 60; t < 3700; t += 60) expect(Math.abs(readOffset(clock, t) - 4)).toBeLessThan(0.008);
  });

  it.each([3, 5, 8, 9])('seed %i: takes drift over an hour without common sound for no step', (seed) => {
    const offsetAt = (t: number): number => 4 + 20e-6 * t, clock = findCoarseClock(...makeUnshared(seed, 5400, [900, 4500], offsetAt), 20, 'B');
    expect(clock.jumps).toBeUndefined();
    for (let t = 60; t < 5400; t += 60) expect(Math.abs(readOffset(clock, t) - offsetAt(t))).toBeLessThan(0.008);
  });

  it.each([[600, -0.0929], [600, -0.03], [3600, -0.4]])('finds in %i s without common sound a step of %f s, which no drift explains', (gapSec, stepSec) => {
    const offsetAt = (t: number): number => 4 + 20e-6 * t + (t > 900 + gapSec / 2 ? stepSec : 0), clock = findCoarseClock(...makeUnshared(3, 1800 + gapSec, [900, 900 + gapSec], offsetAt), 20, 'B');
    expect(clock.jumps).toHaveLength(1);
    for (const t of [100, 500, 780, 1020 + gapSec, 1700 + gapSec]) expect(Math.abs(readOffset(clock, t) - offsetAt(t))).toBeLessThan(0.008);
  });

  it('says so when the recorders share no sound', () => {
    const [a, b] = makeTraces(8, 600, () => 1, 0);
    expect(() => findCoarseClock(a, b, 60, 'B')).toThrow(VolaryError);
  });

  it('says so when the reference has no tracks, and has nothing to say of another recorder without', () => {
    const [a, b] = makeTraces(8, 300, () => 1);
    expect(() => findCoarseClocks([undefined, b], 60, ['A', 'B'])).toThrow(/no common sound/);
    expect(readOffset(findCoarseClocks([a, undefined], 60, ['A', 'B'])[1], 10)).toBe(0);
  });
});
