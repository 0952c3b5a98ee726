import { describe, expect, it } from 'vitest';
import type { ActivityTrace } from '../../src/model/activity-correlation.js';
import { findFirstOffsets } from '../../src/model/first-offsets.js';
import { makeRandom } from './clock-synthetic.js';

const STEP_SEC = 0.0029, DURATION_SEC = 90;
/** Travel of sound between recorders, and half a step. */
const TOLERANCE_SEC = 0.01;

/**
 * Recorders of one room: every call is heard by those for which `hears` says so, at their own offset, up to 6 ms later.
 * @param hears by a number in [0, 1) drawn for the call, the recorders that hear it
 */
function makeRoom(seed: number, offsets: readonly number[], hears: (draw: number) => readonly number[], durationSec = DURATION_SEC): ActivityTrace[] {
  const { uniform } = makeRandom(seed), steps = Math.round(durationSec / STEP_SEC), traces = offsets.map(() => new Float32Array(steps));
  for (let t = 0; t < durationSec; t -= 0.4 * Math.log(1 - uniform())) {
    const length = 0.03 + 0.15 * uniform(), heard = hears(uniform());
    for (const r of heard) {
      const from = t + offsets[r] + 0.006 * uniform();
      for (let k = Math.max(0, Math.round(from / STEP_SEC)); k < Math.min(steps, (from + length) / STEP_SEC); k++) traces[r][k] += 10;
    }
  }
  return traces.map((values) => ({ stepSec: STEP_SEC, values }));
}

const expectOffsets = (found: readonly (number | undefined)[], truth: readonly number[]): void => {
  truth.forEach((offset, r) => expect(Math.abs((found[r] ?? Infinity) - offset)).toBeLessThan(TOLERANCE_SEC));
};

describe('first offsets', () => {
  it('are found against the first recorder, whatever the sign', () => {
    expectOffsets(findFirstOffsets(makeRoom(1, [0, 7.3, -12.2], (draw) => (draw < 0.5 ? [0, 1, 2] : [Math.floor(6 * draw) - 3])), 60), [0, 7.3, -12.2]);
  });

  it('of a recorder that hears nothing with the first come by way of one that hears both', () => {
    const room = makeRoom(2, [0, 4.1, -3.3], (draw) => (draw < 0.5 ? [0, 1] : [1, 2]));
    expect(findFirstOffsets([room[0], room[2]], 60)[1]).toBeUndefined();
    expectOffsets(findFirstOffsets(room, 60), [0, 4.1, -3.3]);
  });

  it('are missing where a recorder hears nothing with any other, and for recorders without tracks', () => {
    const room = makeRoom(3, [0, 2, 5], (draw) => (draw < 0.5 ? [0, 1] : [2]));
    const found = findFirstOffsets(room, 60);
    expectOffsets(found.slice(0, 2), [0, 2]);
    expect(found[2]).toBeUndefined();
    expect(findFirstOffsets([room[0], undefined, room[1]], 60)[1]).toBeUndefined();
    expectOffsets([findFirstOffsets([room[0], undefined, room[1]], 60)[2]!], [2]);
  });

  it('of little common sound are taken where parts of the recording or three recorders agree, and are right then', () => {
    const share = 0.05, truth = [0, 9.4, -6.1];
    const outcomes = { two: 0, three: 0, wrong: 0 };
    for (let seed = 100; seed < 112; seed++) {
      const room = makeRoom(seed, truth, (draw) => (draw < share ? [0, 1, 2] : [Math.floor((3 * (draw - share)) / (1 - share))]));
      const two = findFirstOffsets(room.slice(0, 2), 60), three = findFirstOffsets(room, 60);
      // One call in twenty is shared: the peak is as broad as calls are long.
      const isRight = (offset: number | undefined, r: number): boolean => Math.abs((offset ?? NaN) - truth[r]) < 0.05;
      for (const [found, r] of [[two[1], 1], [three[1], 1], [three[2], 2]] as const) if (found !== undefined && !isRight(found, r)) outcomes.wrong++;
      if (isRight(two[1], 1)) outcomes.two++;
      if (isRight(three[1], 1)) outcomes.three++;
    }
    expect(outcomes.wrong).toBe(0);
    expect(outcomes.two).toBeGreaterThanOrEqual(4);
    expect(outcomes.three).toBeGreaterThan(outcomes.two);
  });

  it('are not made up for recorders of different rooms', () => {
    let found = 0;
    for (let seed = 200; seed < 240; seed++) {
      const rooms = [0, 1, 2].map((n) => makeRoom(seed + 1000 * n, [0], () => [0])[0]);
      found += findFirstOffsets(rooms, 60).filter((offset) => offset !== undefined).length - 1;
    }
    expect(found).toBe(0);
  });
});
