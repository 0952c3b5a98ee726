import { RandomWords } from '../../numeric/random-words.js';
import type { CallRow } from '../../schema/rows.js';
import { cutBlocks, intersectIntervals, lowerBound } from './observed-time.js';
import { splitByBlocks } from './replies.js';
import type { Interval, NetworkSettings, Train } from './types.js';

/** A block must hold many reply windows, or a shift cannot tell anything. */
const LEAST_BLOCK_WINDOWS = 20;

/** Onsets by bird of the calls (ascending in onset) that are at least as probable as the threshold, inside each bird's observed time. */
export function buildTrains(calls: readonly CallRow[], birds: readonly string[], observed: ReadonlyMap<string, readonly Interval[]>, threshold: number): Train[] {
  const lists = new Map<string, number[]>(birds.map((b) => [b, []]));
  for (const call of calls) if (call.probability >= threshold) lists.get(call.bird)?.push(call.onsetSec);
  return birds.map((bird) => ({ bird, onsetSec: keepInside(Float64Array.from(lists.get(bird)!), observed.get(bird) ?? []) }));
}

/** Who may have made each call, by place in the list of birds; -1 = none of them. */
export interface CallerChances { onsetSec: Float64Array; bird: Int16Array; probability: Float64Array; runnerUp: Int16Array; orRunnerUp: Float64Array }

/** @param calls ascending in onset, those that pass the threshold. */
export function listCallerChances(calls: readonly CallRow[], birds: readonly string[]): CallerChances {
  const at = new Map(birds.map((b, k) => [b, k]));
  return {
    onsetSec: Float64Array.from(calls, (c) => c.onsetSec),
    bird: Int16Array.from(calls, (c) => at.get(c.bird) ?? -1),
    probability: Float64Array.from(calls, (c) => c.probability),
    runnerUp: Int16Array.from(calls, (c) => at.get(c.runnerUp) ?? -1),
    orRunnerUp: Float64Array.from(calls, (c) => c.probability + (c.runnerUpProbability || 0)),
  };
}

/** One draw of who made each call: its bird with its probability, the runner-up with the runner-up's, else no call of either. */
export function drawTrains(calls: CallerChances, birds: readonly string[], observed: ReadonlyMap<string, readonly Interval[]>, random: RandomWords): Train[] {
  const drawn = new Int16Array(calls.onsetSec.length);
  const counts = new Int32Array(birds.length);
  for (let i = 0; i < drawn.length; i++) {
    const u = random.nextUnit();
    const k = u < calls.probability[i] ? calls.bird[i] : u < calls.orRunnerUp[i] ? calls.runnerUp[i] : -1;
    drawn[i] = k;
    if (k >= 0) counts[k]++;
  }
  const lists = birds.map((_, k) => new Float64Array(counts[k]));
  counts.fill(0);
  for (let i = 0; i < drawn.length; i++) if (drawn[i] >= 0) lists[drawn[i]][counts[drawn[i]]++] = calls.onsetSec[i];
  return birds.map((bird, k) => ({ bird, onsetSec: keepInside(lists[k], observed.get(bird) ?? []) }));
}

export function keepInside(onsetSec: Float64Array, intervals: readonly Interval[]): Float64Array {
  return splitByBlocks(onsetSec, intervals).onsets.slice();
}

/** An ordered pair of birds and the blocks in which both were observed. */
export interface Pair {
  caller: number;
  replier: number;
  blocks: Interval[];
}

/** All ordered pairs, with blocks of at most the length set; stretches shorter than 20 reply windows are left out. */
export function listPairs(birds: readonly string[], observed: ReadonlyMap<string, readonly Interval[]>, settings: NetworkSettings): Pair[] {
  const cut = birds.map((a, i) => birds.map((b, j) => (i < j
    ? cutBlocks(intersectIntervals(observed.get(a)!, observed.get(b)!), settings.blockSec, LEAST_BLOCK_WINDOWS * settings.toSec) : [])));
  return birds.flatMap((_, caller) => birds.flatMap((__, replier) => (caller === replier ? []
    : [{ caller, replier, blocks: caller < replier ? cut[caller][replier] : cut[replier][caller] }])));
}

/** Shares of one bird's calls that may be another's: confusion.get(bird)!.get(other) = summed probability of the runner-up. */
export function sumRunnersUp(calls: readonly CallRow[], threshold: number): Map<string, Map<string, number>> {
  const sums = new Map<string, Map<string, number>>();
  for (const call of calls) {
    if (call.probability < threshold || !call.runnerUp || !(call.runnerUpProbability > 0)) continue;
    let of = sums.get(call.bird);
    if (!of) sums.set(call.bird, (of = new Map()));
    of.set(call.runnerUp, (of.get(call.runnerUp) ?? 0) + call.runnerUpProbability);
  }
  return sums;
}

/** Number of onsets in [startSec, endSec). */
export function countOnsets(onsetSec: Float64Array, startSec: number, endSec: number): number {
  return lowerBound(onsetSec, endSec) - lowerBound(onsetSec, startSec);
}
