import { UNTAGGED } from './types.js';
import type { TimedCall } from './types.js';

/**
 * Finds for each report the label of another bird in which it lies, or -1. A report lies in a label when at least half of the report's
 * own duration falls into it; of several such labels the one with the longest common time is named, then the earliest.
 * @param labels ordered by onset.
 * @param isAsked which reports to look at.
 */
export function findHostLabels(
  calls: readonly TimedCall[], labels: readonly TimedCall[], isAsked: (call: number) => boolean, otherBirdOnly = true, leastShare = 0.5,
): Int32Array {
  const hosts = new Int32Array(calls.length).fill(-1);
  const longestSec = labels.reduce((longest, l) => Math.max(longest, l.offsetSec - l.onsetSec), 0);
  for (let i = 0; i < calls.length; i++) {
    if (!isAsked(i)) continue;
    const call = calls[i];
    const neededSec = leastShare * (call.offsetSec - call.onsetSec);
    let bestSec = 0;
    for (let j = firstAtOrAfter(labels, call.onsetSec - longestSec); j < labels.length && labels[j].onsetSec < call.offsetSec; j++) {
      if (otherBirdOnly && labels[j].bird === call.bird) continue;
      const commonSec = Math.min(call.offsetSec, labels[j].offsetSec) - Math.max(call.onsetSec, labels[j].onsetSec);
      if (commonSec > bestSec && commonSec >= neededSec - 1e-9) {
        bestSec = commonSec;
        hosts[i] = j;
      }
    }
  }
  return hosts;
}

/**
 * Ghosts: reports of a tagged bird that match no label of that bird and lie, with at least half of their duration, in a call of somebody
 * else (another tagged bird or an untagged caller). Returns for each report the label it is the ghost of, or -1.
 * @param labels ordered by onset.
 * @param labelOfCall matching restricted to the same bird.
 */
export function findGhosts(calls: readonly TimedCall[], labels: readonly TimedCall[], labelOfCall: Int32Array): Int32Array {
  return findHostLabels(calls, labels, (i) => calls[i].bird !== UNTAGGED && labelOfCall[i] < 0);
}

function firstAtOrAfter(labels: readonly TimedCall[], timeSec: number): number {
  let low = 0;
  let high = labels.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (labels[middle].onsetSec < timeSec) low = middle + 1;
    else high = middle;
  }
  return low;
}
