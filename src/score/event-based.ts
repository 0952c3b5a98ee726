import { assignPairs } from './assign-pairs.js';
import type { WeightedPair } from './assign-pairs.js';
import type { TimedCall } from './types.js';

export interface EventBasedOptions {
  /** Largest onset difference in seconds, the limit included. Default 0.2. */
  onsetCollarSec?: number;
  /** The offset may differ by this many seconds or by the share of the reference duration below, whichever is more. Default 0.2. */
  offsetCollarSec?: number;
  /** Default 0.5. */
  offsetShare?: number;
  /** Judge onsets only. Default false. */
  onsetOnly?: boolean;
}

export interface EventBasedResult {
  truePositives: number;
  falsePositives: number;
  falseNegatives: number;
  /** NaN where there is nothing to divide by. */
  precision: number;
  recall: number;
  f1: number;
  /** Pairs that agree in time but not in name. */
  substitutions: number;
  deletions: number;
  insertions: number;
  /** (substitutions + deletions + insertions) / reference events. */
  errorRate: number;
}

/**
 * Event-based F1 and error rate after Mesaros, Heittola & Virtanen (2016) Applied Sciences 6(6), 162, with the collars common in sound
 * event detection. For comparison with that literature; our own measures use the tighter match of `matchCalls`. As many pairs of equal
 * name as possible are matched; substitutions are then found among what is left, whatever the name.
 */
export function measureEventBased(
  calls: readonly TimedCall[], labels: readonly TimedCall[], options: EventBasedOptions = {},
): EventBasedResult {
  const all = findCompatible(calls, labels, options);
  const right = assignPairs(all.filter(({ row, column }) => calls[row].bird === labels[column].bird));
  const usedCalls = new Set(right.map((pair) => pair.row));
  const usedLabels = new Set(right.map((pair) => pair.column));
  const substitutions = assignPairs(all.filter(({ row, column }) => !usedCalls.has(row) && !usedLabels.has(column))).length;
  const truePositives = right.length;
  const falsePositives = calls.length - truePositives;
  const falseNegatives = labels.length - truePositives;
  const deletions = falseNegatives - substitutions;
  const insertions = falsePositives - substitutions;
  return {
    truePositives, falsePositives, falseNegatives,
    precision: truePositives / calls.length, recall: truePositives / labels.length,
    f1: (2 * truePositives) / (2 * truePositives + falsePositives + falseNegatives),
    substitutions, deletions, insertions, errorRate: (substitutions + deletions + insertions) / labels.length,
  };
}

/** Pairs within the collars, all of weight 1. Rows are calls, columns labels. */
function findCompatible(calls: readonly TimedCall[], labels: readonly TimedCall[], options: EventBasedOptions): WeightedPair[] {
  const { onsetCollarSec = 0.2, offsetCollarSec = 0.2, offsetShare = 0.5, onsetOnly = false } = options;
  const roundingSec = 1e-9;
  const order = labels.map((_, i) => i).sort((i, j) => labels[i].onsetSec - labels[j].onsetSec);
  const callOrder = calls.map((_, i) => i).sort((i, j) => calls[i].onsetSec - calls[j].onsetSec);
  const pairs: WeightedPair[] = [];
  let first = 0;
  for (const row of callOrder) {
    const call = calls[row];
    while (first < order.length && labels[order[first]].onsetSec < call.onsetSec - onsetCollarSec - roundingSec) first++;
    for (let k = first; k < order.length; k++) {
      const label = labels[order[k]];
      if (label.onsetSec > call.onsetSec + onsetCollarSec + roundingSec) break;
      const offsetLimitSec = Math.max(offsetCollarSec, offsetShare * (label.offsetSec - label.onsetSec)) + roundingSec;
      if (onsetOnly || Math.abs(call.offsetSec - label.offsetSec) <= offsetLimitSec) pairs.push({ row, column: order[k], weight: 1 });
    }
  }
  return pairs;
}
