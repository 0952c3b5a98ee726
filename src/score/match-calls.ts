import { intersectionOverUnion } from '../numeric/intervals.js';
import { assignPairs } from './assign-pairs.js';
import type { WeightedPair } from './assign-pairs.js';
import type { TimedCall } from './types.js';

export interface MatchOptions {
  /** Largest onset difference of a match in seconds, the limit included. Default 0.05. */
  toleranceSec?: number;
  /** Only pairs of the same bird may match ('right time and right bird'). Default false. */
  sameBird?: boolean;
}

export interface MatchedPair {
  /** Index into the calls given. */
  call: number;
  /** Index into the labels given. */
  label: number;
  /** Intersection over union of the two intervals, in (0, 1]. */
  iou: number;
}

export interface Matching {
  /** Ordered by call index. */
  pairs: MatchedPair[];
  /** For each call the index of its label, or -1. */
  labelOfCall: Int32Array;
  /** For each label the index of its call, or -1. */
  callOfLabel: Int32Array;
}

/** Times are written with six decimals, so a difference of exactly the tolerance must not be lost to binary rounding. */
const ROUNDING_SEC = 1e-9;

/**
 * Added to the weight of a pair of the same bird. Weights are IoU values up to 1, so the bonus decides only among choices whose total
 * IoU is equal, or differs by less than a millionth per pair.
 */
const SAME_BIRD_BONUS = 1e-6;

/**
 * Matches reported calls with labelled calls, one to one. A pair may match if the onsets differ by at most the tolerance and the intervals
 * overlap; among all one-to-one choices the one with the largest total intersection over union is taken (global optimum, by linear
 * assignment). Without `sameBird` the bird does not matter, except that among equal choices pairs of the same bird are preferred
 * (a bonus of one millionth of a full overlap per pair).
 *
 * The pairs do not depend on the order of the rows, apart from rows that agree in bird and times.
 * @example matchCalls([{ bird: 'A', onsetSec: 1, offsetSec: 1.1 }], [{ bird: 'A', onsetSec: 1.02, offsetSec: 1.1 }]).pairs // one pair, iou 0.8
 */
export function matchCalls(calls: readonly TimedCall[], labels: readonly TimedCall[], options: MatchOptions = {}): Matching {
  const callOrder = orderInTime(calls);
  const labelOrder = orderInTime(labels);
  const candidates = findCandidates(calls, labels, callOrder, labelOrder, options);
  const labelOfCall = new Int32Array(calls.length).fill(-1);
  const callOfLabel = new Int32Array(labels.length).fill(-1);
  for (const { row, column } of assignPairs(candidates)) {
    labelOfCall[callOrder[row]] = labelOrder[column];
    callOfLabel[labelOrder[column]] = callOrder[row];
  }
  const pairs: MatchedPair[] = [];
  labelOfCall.forEach((label, call) => {
    if (label >= 0) pairs.push({ call, label, iou: intersectionOverUnion(calls[call], labels[label]) });
  });
  return { pairs, labelOfCall, callOfLabel };
}

/** Indices ordered by onset, offset, bird: the assignment then meets equal choices in the same order whatever the order of the rows. */
function orderInTime(rows: readonly TimedCall[]): number[] {
  return rows.map((_, i) => i).sort((i, j) => compareCalls(rows[i], rows[j]) || i - j);
}

/** Order by onset, offset, bird name (by code unit). */
export function compareCalls(a: TimedCall, b: TimedCall): number {
  return a.onsetSec - b.onsetSec || a.offsetSec - b.offsetSec || (a.bird < b.bird ? -1 : a.bird > b.bird ? 1 : 0);
}

/** All pairs that may match, as positions in the two time orders. */
function findCandidates(
  calls: readonly TimedCall[], labels: readonly TimedCall[], callOrder: number[], labelOrder: number[], options: MatchOptions,
): WeightedPair[] {
  const limitSec = (options.toleranceSec ?? 0.05) + ROUNDING_SEC;
  const candidates: WeightedPair[] = [];
  let first = 0;
  for (let row = 0; row < callOrder.length; row++) {
    const call = calls[callOrder[row]];
    while (first < labelOrder.length && labels[labelOrder[first]].onsetSec < call.onsetSec - limitSec) first++;
    for (let column = first; column < labelOrder.length; column++) {
      const label = labels[labelOrder[column]];
      if (label.onsetSec > call.onsetSec + limitSec) break;
      const same = label.bird === call.bird;
      if (options.sameBird && !same) continue;
      const iou = intersectionOverUnion(call, label);
      if (iou > 0) candidates.push({ row, column, weight: iou + (same ? SAME_BIRD_BONUS : 0) });
    }
  }
  return candidates;
}
