import { describe, expect, it } from 'vitest';
import { createChain } from '../../src/model/clock-chain.js';
import { chooseReadings } from '../../src/model/clock-choose.js';
import type { ClockState } from '../../src/model/clock-groups.js';
import type { LagReadings } from '../../src/model/clock-readings.js';
import { makeRandom } from './clock-synthetic.js';

/** Tracks 0 and 1 on one recorder, 2 and 3 on another, whose clocks agree. */
const RECORDERS = [0, 0, 1, 1];

interface Peak { tSec: number; from?: number; to?: number; lagMs: number }

/** Which peaks are kept, as indices. */
function choose(peaks: readonly Peak[]): number[] {
  const count = peaks.length, zero = (): Float64Array => new Float64Array(count), state: ClockState = { chain: createChain(1000, 100, 1), delayMs: new Float64Array(4), steps: [], stepMs: new Float64Array(0) };
  const r: LagReadings = {
    count, tSec: Float64Array.from(peaks, (p) => p.tSec), from: Uint16Array.from(peaks, (p) => p.from ?? 0), to: Uint16Array.from(peaks, (p) => p.to ?? 2), lagMs: Float64Array.from(peaks, (p) => p.lagMs),
    // Carried along and not looked at: which of the readings is which.
    sigmaMs: Float64Array.from(peaks, (_, m) => m), nearMs: zero(),
  };
  return [...chooseReadings(r, state, RECORDERS).sigmaMs];
}

describe('readings between recorders', () => {
  it('are those whose distance others of the pair show at the time, however many there are', () => {
    // A call every 2 s; the bird moves twice, and every call has a wrong peak besides the right one, half of them at the distance of another place.
    const { uniform } = makeRandom(3), places = [3, 6, 9], calls = 900;
    const peaks = Array.from({ length: calls }, (_, n): Peak[] => {
      const here = Math.floor((3 * n) / calls), wrong = n % 2 ? places[(here + 1 + (n % 4 > 1 ? 1 : 0)) % 3] : 12 + 10 * uniform();
      return [{ tSec: 2 * n, lagMs: places[here] }, { tSec: 2 * n + 0.001, lagMs: wrong }];
    }).flat();
    expect(choose(peaks)).toEqual(Array.from({ length: calls }, (_, n) => 2 * n));
  });

  it('are borne out by those of the other direction more than by those of the same', () => {
    // Two peaks of a call: two others there show the one, one back shows the other.
    const others: Peak[] = [{ tSec: 1, lagMs: 7 }, { tSec: 2, lagMs: 7 }], back: Peak = { tSec: 3, from: 2, to: 0, lagMs: 4 };
    expect(choose([...others, back, { tSec: 4, lagMs: 7 }, { tSec: 4.01, lagMs: 4 }])).toEqual([0, 1, 2, 4]);
    expect(choose([...others, { tSec: 4, lagMs: 7 }, { tSec: 4.01, lagMs: 4 }])).toEqual([0, 1, 2]);
  });

  it('are none that stand alone, none of an impossible distance, none of a link heard in another channel', () => {
    expect(choose([{ tSec: 1, lagMs: 5 }, { tSec: 2, lagMs: 8 }])).toEqual([]);
    const at = (lagMs: number): Peak[] => Array.from({ length: 5 }, (_, n) => ({ tSec: n, lagMs }));
    expect(choose(at(5))).toEqual([0, 1, 2, 3, 4]);
    for (const lagMs of [-0.2, 26, 0]) expect(choose(at(lagMs))).toEqual([]);
    // Birds that sit beak to beak hear each other both ways.
    expect(choose([...at(0), { tSec: 5, from: 2, to: 0, lagMs: 0 }])).toHaveLength(6);
  });

  it('stay whatever they are where both tracks are of one recorder', () => {
    expect(choose([{ tSec: 1, from: 0, to: 1, lagMs: 40 }, { tSec: 1, from: 3, to: 2, lagMs: -3 }])).toEqual([0, 1]);
  });
});
