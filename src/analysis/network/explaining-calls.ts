import { lowerBound } from './observed-time.js';
import type { SharedSounds } from './shared-sounds.js';
import type { Interval, WeightedTrain } from './types.js';

/** Doubtful calls below this weight explain next to nothing and would make the regression slow. */
const LEAST_WEIGHT = 0.1;

/**
 * What the regression may explain a reply by: every call that a bird may have made, those below the threshold too, weighted by their probability and
 * also given to their runner-up. A call left out would pass its replies on to whoever called before it, and chains would look like edges. Calls of
 * untagged callers, and sure calls set aside because they share a sound with a surer one, are trains named 'none'.
 * @returns one train per bird in the order given, then those named 'none' that hold calls
 */
export function weighExplainingCalls(shared: SharedSounds, birds: readonly string[], threshold: number): WeightedTrain[] {
  const lists = new Map([...birds, 'none'].map((bird) => [bird, new GrowingTrain(bird)]));
  for (const call of shared.kept) {
    const isSure = call.probability >= threshold;
    lists.get(call.bird)?.add(call.onsetSec, isSure ? 1 : call.probability);
    if (!isSure) lists.get(call.runnerUp)?.add(call.onsetSec, call.runnerUpProbability);
  }
  const aside = new GrowingTrain('none');
  for (const call of shared.setAside) if (call.probability >= threshold) aside.add(call.onsetSec, 1);
  const bystanders = [lists.get('none')!, aside].filter((t) => t.onsets.length > 0);
  return [...birds.map((bird) => lists.get(bird)!), ...bystanders].map((t) => t.finish());
}

class GrowingTrain {
  readonly onsets: number[] = [];
  private readonly weights: number[] = [];

  constructor(private readonly bird: string) {}

  add(onsetSec: number, weight: number): void {
    if (!(weight >= LEAST_WEIGHT)) return;
    this.onsets.push(onsetSec);
    this.weights.push(weight);
  }

  finish(): WeightedTrain {
    return { bird: this.bird, onsetSec: Float64Array.from(this.onsets), weight: Float64Array.from(this.weights) };
  }
}

/** Trains of all callers in one, ascending. */
export function mergeTrains(trains: readonly WeightedTrain[]): WeightedTrain {
  let left = trains.slice();
  while (left.length > 1) left = left.flatMap((train, k) => (k % 2 === 1 ? [] : k + 1 < left.length ? [mergeTwo(train, left[k + 1])] : [train]));
  return left[0] ?? { bird: '', onsetSec: new Float64Array(0), weight: new Float64Array(0) };
}

function mergeTwo(a: WeightedTrain, b: WeightedTrain): WeightedTrain {
  const size = a.onsetSec.length + b.onsetSec.length;
  const merged = { bird: '', onsetSec: new Float64Array(size), weight: new Float64Array(size) };
  for (let i = 0, j = 0, to = 0; to < size; to++) {
    const isA = j >= b.onsetSec.length || (i < a.onsetSec.length && a.onsetSec[i] <= b.onsetSec[j]);
    merged.onsetSec[to] = isA ? a.onsetSec[i] : b.onsetSec[j];
    merged.weight[to] = isA ? a.weight[i++] : b.weight[j++];
  }
  return merged;
}

/** cumulative[i] = summed weight of the calls before call i. */
export function accumulateWeights(train: WeightedTrain): Float64Array {
  const sums = new Float64Array(train.weight.length + 1);
  for (let i = 0; i < train.weight.length; i++) sums[i + 1] = sums[i] + train.weight[i];
  return sums;
}

/** Summed weight of the calls inside the intervals. */
export function sumWeightInside(train: WeightedTrain, intervals: readonly Interval[]): number {
  const sums = accumulateWeights(train);
  return intervals.reduce((sum, { startSec, endSec }) => sum + sums[lowerBound(train.onsetSec, endSec)] - sums[lowerBound(train.onsetSec, startSec)], 0);
}
