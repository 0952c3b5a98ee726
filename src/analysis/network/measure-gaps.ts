import type { CallRow } from '../../schema/rows.js';
import { lowerBound } from './observed-time.js';
import { findFirstReplies, lagMicros, splitByBlocks, summariseLatencies } from './replies.js';
import type { Pair } from './trains.js';
import type { NetworkSettings, Train } from './types.js';

/** Time from the end of a call to the onset of its first reply in the window; below 0 where the reply starts before the call ends. */
export interface GapMeasure { gapMedianSec: number; gapLowerSec: number; gapUpperSec: number }

/**
 * The replies that are counted, timed from the end of the call instead of its start: what a reply waits for where calls differ in length.
 * @param calls those that the trains were built from, ascending in onset
 */
export function measureGaps(calls: readonly CallRow[], trains: readonly Train[], pairs: readonly Pair[], settings: NetworkSettings): GapMeasure[] {
  const ends = trains.map((t) => listEnds(calls.filter((c) => c.bird === t.bird && c.probability >= settings.threshold)));
  return pairs.map(({ caller, replier, blocks }) => {
    const own = splitByBlocks(trains[caller].onsetSec, blocks).onsets;
    const latency = findFirstReplies(own, splitByBlocks(trains[replier].onsetSec, blocks).onsets, settings.fromSec, settings.toSec);
    const { onsetSec, offsetSec } = ends[caller];
    const gaps = latency.map((sec, i) => (Number.isNaN(sec) ? NaN : sec - lagMicros(own[i], offsetSec[lowerBound(onsetSec, own[i])]) / 1e6));
    const { median, lower, upper } = summariseLatencies(gaps);
    return { gapMedianSec: median, gapLowerSec: lower, gapUpperSec: upper };
  });
}

function listEnds(calls: readonly CallRow[]): { onsetSec: Float64Array; offsetSec: Float64Array } {
  return { onsetSec: Float64Array.from(calls, (c) => c.onsetSec), offsetSec: Float64Array.from(calls, (c) => c.offsetSec) };
}
