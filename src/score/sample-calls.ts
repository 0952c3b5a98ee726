import { VolaryError } from '../schema/errors.js';
import { estimateStratifiedShare } from './stratified.js';
import { RandomWords } from './random.js';

/** What sampling needs to know of a call. */
export interface SampledCall {
  callId: number;
  probability: number;
}

export interface SampleStratum {
  /** Counted from 1, the least sure calls first. */
  stratum: number;
  /** Calls of the table in this stratum. */
  calls: number;
  /** Calls to verify. */
  drawn: number;
  lowProbability: number;
  highProbability: number;
  meanProbability: number;
}

export interface DrawnCall {
  callId: number;
  stratum: number;
  /** How many calls of the table this one stands for: calls of the stratum / drawn of the stratum. */
  weight: number;
}

export interface SamplePlan {
  strata: SampleStratum[];
  /**
   * In the order in which to verify: the strata take turns and calls within a stratum are in random order, so that whoever stops early
   * still has a fair sample.
   */
  drawn: DrawnCall[];
  /** Half the length of the 95 % interval of the share of right calls, if the probabilities are calibrated. */
  expectedHalfWidth: number;
}

/** More strata gain little and leave few labels in each. */
const MOST_STRATA = 4;
/** A call never counts as surer than this when labels are shared out: no table is trusted beyond it before anyone has listened. */
const SUREST = 0.98;

/**
 * Draws calls to verify by ear so that the share of right rows of the whole table is known best for a given number of labels. Calls are
 * ordered by probability and cut into strata of equal sum of sqrt(p (1 - p)), each of which gets the same number of labels: the allocation of
 * Neyman (1934) with the stratum limits of Dalenius & Hodges (1959), both from memory. With the same seed a larger sample contains a
 * smaller one (from 20 calls on).
 * @param count labels that can be afforded; at most all calls are drawn, at least 2 per stratum.
 * @throws VolaryError 'no-data' for an empty table.
 */
export function drawSample(calls: readonly SampledCall[], count: number, seed = 1): SamplePlan {
  if (calls.length === 0) throw new VolaryError('no-data', { what: 'the table has no call to draw from' });
  const wanted = Math.min(calls.length, Math.max(2, Math.round(count)));
  const groups = cutByProbability(calls, wanted);
  const sizes = shareOut(groups.map((group) => group.length), wanted);
  const strata = groups.map((group, i): SampleStratum => ({
    stratum: i + 1, calls: group.length, drawn: sizes[i], lowProbability: group[0].probability,
    highProbability: group[group.length - 1].probability, meanProbability: group.reduce((s, c) => s + c.probability, 0) / group.length,
  }));
  const queues = groups.map((group, i) => shuffleCalls(group, seed, i).slice(0, sizes[i])
    .map((call): DrawnCall => ({ callId: call.callId, stratum: i + 1, weight: group.length / sizes[i] })));
  const drawn: DrawnCall[] = [];
  for (let turn = 0; drawn.length < wanted; turn++) for (const queue of queues) if (turn < queue.length) drawn.push(queue[turn]);
  return { strata, drawn, expectedHalfWidth: expectHalfWidth(strata) };
}

/** The smallest number of labels that is expected to give the half width asked for, found by bisection; all calls where none does. */
export function planSampleSize(calls: readonly SampledCall[], halfWidth: number): number {
  const widthOf = (count: number): number => drawSample(calls, count).expectedHalfWidth;
  let low = 1;
  let high = calls.length;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (widthOf(middle) <= halfWidth) high = middle;
    else low = middle;
  }
  return high;
}

/** Strata in order of probability. */
function cutByProbability(calls: readonly SampledCall[], wanted: number): SampledCall[][] {
  const sorted = [...calls].sort((a, b) => a.probability - b.probability || a.callId - b.callId);
  const strataCount = Math.max(1, Math.min(MOST_STRATA, Math.floor(wanted / 5)));
  const doubt = sorted.map(({ probability: p }) => Math.sqrt(Math.max(p * (1 - p), SUREST * (1 - SUREST))));
  const total = doubt.reduce((a, b) => a + b, 0);
  const groups: SampledCall[][] = Array.from({ length: strataCount }, () => []);
  let before = 0;
  sorted.forEach((call, i) => {
    groups[Math.min(strataCount - 1, Math.floor((strataCount * (before + doubt[i] / 2)) / total))].push(call);
    before += doubt[i];
  });
  return groups.filter((group) => group.length > 0);
}

/** Equal numbers for all strata; what a small stratum cannot take goes to the others. */
function shareOut(sizes: readonly number[], wanted: number): number[] {
  const shares = sizes.map(() => 0);
  let left = wanted;
  while (left > 0) {
    const open = sizes.map((_, i) => i).filter((i) => shares[i] < sizes[i]);
    const each = Math.max(1, Math.floor(left / open.length));
    for (const i of open) {
      const more = Math.min(each, sizes[i] - shares[i], left);
      shares[i] += more;
      left -= more;
    }
  }
  return shares;
}

function shuffleCalls(calls: readonly SampledCall[], seed: number, stratum: number): SampledCall[] {
  const random = new RandomWords(Math.imul(seed, 0x9e3779b1) + stratum);
  const out = [...calls];
  for (let i = 0; i < out.length - 1; i++) {
    const j = i + random.nextBelow(out.length - i);
    [out[i], out[j]] = [out[j], out[i]];
  }
  return out;
}

function expectHalfWidth(strata: readonly SampleStratum[]): number {
  const { low, high } = estimateStratifiedShare(strata.map((s) => ({ size: s.calls, trials: s.drawn, successes: s.drawn * s.meanProbability })));
  return (high! - low!) / 2;
}
