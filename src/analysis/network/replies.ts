import { sortedQuantile } from '../../numeric/quantile.js';
import { lowerBound } from './observed-time.js';
import type { Interval } from './types.js';

/** Latencies are whole microseconds, as the tables are written, so that a value on the edge of a bin falls the same way everywhere. */
export function lagMicros(earlierSec: number, laterSec: number): number {
  return Math.round((laterSec - earlierSec) * 1e6);
}

/**
 * Time from the onset of each call to the onset of the first reply, a call of the replier that starts in [fromSec, toSec) after it; NaN where
 * there is none.
 * @param caller onsets in seconds, ascending. @param replier likewise.
 */
export function findFirstReplies(caller: ArrayLike<number>, replier: ArrayLike<number>, fromSec: number, toSec: number): Float64Array {
  const latency = new Float64Array(caller.length).fill(NaN);
  const from = Math.round(fromSec * 1e6);
  const to = Math.round(toSec * 1e6);
  for (let i = 0, j = 0; i < caller.length; i++) {
    j = skipEarlier(caller[i], replier, j, from);
    if (j < replier.length && (replier[j] - caller[i]) * 1e6 < to - 0.5) latency[i] = lagMicros(caller[i], replier[j]) / 1e6;
  }
  return latency;
}

/** The first reply at or after `fromMicros`; a lag rounds to less than a whole number exactly where it is half below it. */
function skipEarlier(callSec: number, replier: ArrayLike<number>, from: number, fromMicros: number): number {
  let j = from;
  while (j < replier.length && (replier[j] - callSec) * 1e6 < fromMicros - 0.5) j++;
  return j;
}

/**
 * Number of calls with a reply in each block, as findFirstReplies finds them.
 * @param caller as splitByBlocks gives it, likewise `replier`.
 */
export function countReplies(caller: BlockOnsets, replier: BlockOnsets, fromSec: number, toSec: number): Int32Array {
  const from = Math.round(fromSec * 1e6);
  const to = Math.round(toSec * 1e6);
  const counts = new Int32Array(caller.first.length - 1);
  for (let k = 0, j = 0; k < counts.length; k++) {
    for (let i = caller.first[k]; i < caller.first[k + 1]; i++) {
      j = skipEarlier(caller.onsets[i], replier.onsets, j, from);
      if (j < replier.onsets.length && (replier.onsets[j] - caller.onsets[i]) * 1e6 < to - 0.5) counts[k]++;
    }
  }
  return counts;
}

/** Median and quartiles of the latencies that are there. */
export function summariseLatencies(latency: Float64Array): { median: number; lower: number; upper: number; count: number } {
  const sorted = latency.filter((x) => !Number.isNaN(x)).sort();
  return { median: sortedQuantile(sorted, 0.5), lower: sortedQuantile(sorted, 0.25), upper: sortedQuantile(sorted, 0.75), count: sorted.length };
}

/** Onsets inside blocks, and where each block's begin: those of block k are onsets[first[k]] to onsets[first[k + 1] - 1]. */
export interface BlockOnsets { onsets: Float64Array; first: Int32Array }

/** Onsets inside the blocks (ascending, apart). */
export function splitByBlocks(onsetSec: Float64Array, blocks: readonly Interval[]): BlockOnsets {
  const first = new Int32Array(blocks.length + 1);
  const onsets = new Float64Array(onsetSec.length);
  let count = 0;
  blocks.forEach((block, k) => {
    first[k] = count;
    // Some dozen calls each: views of the array would cost more than the loop.
    for (let i = lowerBound(onsetSec, block.startSec); i < onsetSec.length && onsetSec[i] < block.endSec; i++) onsets[count++] = onsetSec[i];
  });
  first[blocks.length] = count;
  return { onsets: onsets.subarray(0, count), first };
}

/**
 * Share of a block, closed to a ring, at which a call would find a reply: the union of the windows before the replier's calls over the
 * length of the block. Times the number of calls this is exactly the mean number of replies over all circular shifts.
 */
export function measureReplyShare(replier: ArrayLike<number>, first: number, end: number, lengthSec: number, widthSec: number): number {
  const n = end - first;
  if (n === 0) return 0;
  let covered = 0;
  for (let j = first; j < end; j++) {
    const gap = j > first ? replier[j] - replier[j - 1] : replier[first] - replier[end - 1] + lengthSec;
    covered += Math.min(widthSec, gap);
  }
  return Math.min(1, covered / lengthSec);
}
