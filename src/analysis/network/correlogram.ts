import { lagMicros, splitByBlocks } from './replies.js';
import type { Interval } from './types.js';

/** Cross-correlogram of calls at lags of 0 and more (lag = onset of the replier minus onset of the caller). */
export interface Correlogram {
  binSec: number;
  /** Pairs of calls whose lag lies in [k bin, (k + 1) bin). */
  counts: Float64Array;
  /** What two unrelated trains with the same rates block by block would give. */
  expected: Float64Array;
}

/**
 * Counts pairs of calls by lag, within blocks. Expected counts are n1 n2 bin (T - lag) / T^2 of each block, the value for independent Poisson
 * trains with the ends taken into account (Perkel, Gerstein and Moore 1967, Biophys. J. 7:419-440).
 * @param caller onsets in seconds, ascending. @param blocks ascending, apart.
 */
export function computeCorrelogram(caller: Float64Array, replier: Float64Array, blocks: readonly Interval[], binSec: number, reachSec: number): Correlogram {
  const bin = Math.round(binSec * 1e6);
  const size = Math.ceil(Math.round(reachSec * 1e6) / bin);
  const counts = new Float64Array(size);
  const expected = new Float64Array(size);
  const a = splitByBlocks(caller, blocks);
  const b = splitByBlocks(replier, blocks);
  blocks.forEach((block, k) => {
    const lengthSec = block.endSec - block.startSec;
    const pairs = (a.first[k + 1] - a.first[k]) * (b.first[k + 1] - b.first[k]);
    for (let m = 0; m < size; m++) {
      expected[m] += (pairs * binSec * Math.max(0, lengthSec - (m + 0.5) * binSec)) / (lengthSec * lengthSec);
    }
    for (let i = a.first[k], from = b.first[k]; i < a.first[k + 1]; i++) {
      while (from < b.first[k + 1] && lagMicros(a.onsets[i], b.onsets[from]) < 0) from++;
      for (let j = from; j < b.first[k + 1]; j++) {
        const m = Math.floor(lagMicros(a.onsets[i], b.onsets[j]) / bin);
        if (m >= size) break;
        counts[m]++;
      }
    }
  });
  return { binSec, counts, expected };
}
