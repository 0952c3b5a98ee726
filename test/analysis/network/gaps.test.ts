import { describe, expect, it } from 'vitest';
import { buildNetwork } from '../../../src/analysis/network/build-network.js';
import { measureGaps } from '../../../src/analysis/network/measure-gaps.js';
import { DEFAULT_NETWORK_SETTINGS } from '../../../src/analysis/network/types.js';
import type { CallRow } from '../../../src/schema/rows.js';
import { Dice, fullTracks, simulateCalls, toCallRows } from './simulate-calls.js';

describe('time from the end of a call to the reply', () => {
  const call = (bird: string, onsetSec: number, offsetSec: number, probability = 1): CallRow => ({ callId: 0, bird, onsetSec, offsetSec, onsetUtc: '', probability, track: bird, levelDb: 0, snrDb: 0, peakHz: 0, overlaps: 0, runnerUp: '', runnerUpProbability: NaN });

  it('is latency less length, for counted replies only, below 0 where the two overlap', () => {
    const calls = [call('a', 1, 1.1), call('b', 1.25, 1.3), call('a', 5, 5.2), call('b', 5.12, 5.2), call('a', 9, 9.05), call('b', 9.7, 9.8), call('a', 12, 12.3, 0.2), call('b', 12.1, 12.2)];
    const trains = ['a', 'b'].map((bird) => ({ bird, onsetSec: Float64Array.from(calls.filter((c) => c.bird === bird && c.probability >= 0.95), (c) => c.onsetSec) }));
    const [ab, ba] = measureGaps(calls, trains, [{ caller: 0, replier: 1, blocks: [{ startSec: 0, endSec: 20 }] }, { caller: 1, replier: 0, blocks: [{ startSec: 0, endSec: 20 }] }], DEFAULT_NETWORK_SETTINGS);
    // .25 - .1 and .12 - .2; the reply at 9.7 is outside of the window, the call at 12 is too unsure.
    expect(ab.gapMedianSec).toBeCloseTo((0.15 - 0.08) / 2, 9);
    expect(ab.gapLowerSec).toBeLessThan(0);
    expect(ba.gapMedianSec).toBeNaN();
  });

  it('finds a bird that waits for the end where calls differ in length', () => {
    const birds = ['ash', 'birch'];
    const dice = new Dice(3);
    const callers = toCallRows(simulateCalls({ birds: ['ash'], durationSec: 7200, rate: () => 0.05, mostRate: 0.05, seed: 4 })).map((c) => ({ ...c, offsetSec: c.onsetSec + 0.05 + 0.2 * dice.unit() }));
    const replies = callers.filter(() => dice.unit() < 0.6).map((c) => call('birch', c.offsetSec + 0.1 + 0.02 * dice.normal(), c.offsetSec + 0.18));
    const calls = [...callers, ...replies].sort((x, y) => x.onsetSec - y.onsetSec);
    const edge = buildNetwork({ calls, tracks: fullTracks(birds, 7200) }, { surrogates: 99, draws: 20, thresholds: [] }).edges.find((e) => e.caller === 'ash')!;
    // Waits of .1 s with a standard deviation of .02, some 200 of them: the median to .0018, quartiles .67 of .02 away; lengths of .05 to .25 spread the latency from the onset.
    expect(Math.abs(edge.gapMedianSec - 0.1)).toBeLessThan(4 * 0.0018);
    expect(edge.gapUpperSec - edge.gapLowerSec).toBeLessThan(0.04);
    expect(edge.latencyUpperSec - edge.latencyLowerSec).toBeGreaterThan(0.07);
  });
});
