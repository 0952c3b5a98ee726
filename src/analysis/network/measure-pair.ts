import { adjustFalseDiscovery, computeTwoSidedP } from './multiple-tests.js';
import { countReplies, findFirstReplies, measureReplyShare, splitByBlocks, summariseLatencies } from './replies.js';
import { drawJitters, drawShifts } from './surrogates.js';
import type { SurrogateReplies } from './surrogates.js';
import type { Pair } from './trains.js';
import type { Interval, NetworkSettings, Train } from './types.js';

/** What the surrogates say of one ordered pair. */
export interface PairMeasure {
  caller: string;
  replier: string;
  /** Calls of the caller while both birds were observed. */
  calls: number;
  /** Calls of the replier in the same time. */
  replierCalls: number;
  replies: number;
  replyProbability: number;
  /** Share of calls with a reply by chance: exact mean over circular shifts, and over jitters. */
  chanceShift: number;
  chanceJitter: number;
  /** Reply probability that the rates alone would give: the larger of the two, after true replies are taken out of the jitters. */
  chance: number;
  /** replyProbability - chance: the weight of the edge. */
  excess: number;
  /** Standard deviations above the surrogates' mean, the smaller in size of the two kinds. */
  z: number;
  pShift: number;
  pJitter: number;
  /** The larger of the two: a pair must stand out against both. */
  p: number;
  q: number;
  latencyMedianSec: number;
  latencyLowerSec: number;
  latencyUpperSec: number;
}

/** Tests every ordered pair against both kinds of surrogates. */
export function measurePairs(trains: readonly Train[], pairs: readonly Pair[], settings: NetworkSettings, onPair?: () => void): PairMeasure[] {
  const raw = pairs.map((pair, index) => {
    const counted = countPair(trains[pair.caller], trains[pair.replier], pair.blocks, settings, seedOf(settings.seed, index));
    onPair?.();
    return counted;
  });
  const at = new Map(pairs.map((pair, index) => [pair.caller * trains.length + pair.replier, index]));
  const measured = pairs.map((pair, k) => describePair(raw[k], raw[at.get(pair.replier * trains.length + pair.caller)!], settings));
  const q = adjustFalseDiscovery(measured.map((m) => m.p));
  return measured.map((m, i) => ({ ...m, q: q[i] }));
}

/** Seeds of pairs and purposes that share nothing (multiplier of Knuth's multiplicative hash). */
export function seedOf(seed: number, index: number): number {
  return (Math.imul(seed, 0x9e3779b1) ^ Math.imul(index + 1, 0x85ebca6b)) >>> 0;
}

interface CountedPair {
  caller: string;
  replier: string;
  calls: number;
  replierCalls: number;
  latency: { median: number; lower: number; upper: number; count: number };
  shift: SurrogateReplies;
  jitter: SurrogateReplies;
}

function countPair(a: Train, b: Train, blocks: readonly Interval[], settings: NetworkSettings, seed: number): CountedPair {
  const { fromSec, toSec, surrogates } = settings;
  const caller = splitByBlocks(a.onsetSec, blocks).onsets;
  const replier = splitByBlocks(b.onsetSec, blocks).onsets;
  const latency = summariseLatencies(findFirstReplies(caller, replier, fromSec, toSec));
  const shift = drawShifts(caller, replier, blocks, fromSec, toSec, surrogates, seed);
  const jitter = drawJitters(caller, replier, fromSec, toSec, settings.jitterSec, settings.boutGapSec, surrogates, seed ^ 0x5bd1e995);
  return { caller: a.bird, replier: b.bird, calls: caller.length, replierCalls: replier.length, latency, shift, jitter };
}

/**
 * Replies beyond those of the jitters, taking off what true replies put into the jitters themselves. A bout placed anew within its cell of length L
 * still finds the reply that it got in a share w / L of places (w = width of the window), and finds the call that it itself answered in a little
 * less, for the displacement must be longer. Solves D = (1 - f) e - r e', D' = (1 - f) e' - r' e for the true excess e and the reverse one e', which
 * only counts above 0.
 */
function solveExcess(own: CountedPair, reverse: CountedPair, settings: NetworkSettings): { excess: number; feigned: number } {
  const share = (settings.toSec - settings.fromSec) / settings.jitterSec;
  const middle = (settings.toSec + settings.fromSec) / 2;
  const reverseShare = (p: CountedPair): number => share * Math.max(0, 1 - ((p.latency.median || 0) + middle) / settings.jitterSec);
  const d = own.latency.count - own.jitter.mean;
  const dReverse = reverse.latency.count - reverse.jitter.mean;
  const r = reverseShare(reverse);
  const rReverse = d > 0 ? reverseShare(own) : 0;
  const back = Math.max(0, ((1 - share) * dReverse + rReverse * d) / ((1 - share) * (1 - share) - r * rReverse));
  return { excess: (d + r * back) / (1 - share), feigned: r * back };
}

function describePair(own: CountedPair, reverse: CountedPair, settings: NetworkSettings): PairMeasure {
  const { caller, replier, calls, replierCalls, latency, shift, jitter } = own;
  const solved = solveExcess(own, reverse, settings);
  // A pair without calls of both says nothing: no test, and none to correct for.
  const isTold = calls > 0 && replierCalls > 0;
  const pShift = isTold ? computeTwoSidedP(latency.count, shift.counts) : NaN;
  const pJitter = isTold ? computeTwoSidedP(latency.count + solved.feigned, jitter.counts) : NaN;
  const zs = [(latency.count - shift.mean) / shift.sd, (latency.count + solved.feigned - jitter.mean) / jitter.sd];
  // Pulled one way by one kind and the other way by the other, a pair does not stand out.
  const agree = zs[0] * zs[1] > 0;
  const replyProbability = latency.count / calls;
  const overShift = replyProbability - shift.mean / calls;
  const excess = Math.min(overShift, solved.excess / calls);
  return {
    caller, replier, calls, replierCalls, replies: latency.count, replyProbability, chanceShift: shift.mean / calls, chanceJitter: jitter.mean / calls,
    chance: replyProbability - excess, excess, z: agree ? (Math.abs(zs[0]) < Math.abs(zs[1]) ? zs[0] : zs[1]) : isTold ? 0 : NaN,
    pShift, pJitter, p: isTold && !agree ? 1 : Math.max(pShift, pJitter), q: NaN,
    latencyMedianSec: latency.median, latencyLowerSec: latency.lower, latencyUpperSec: latency.upper,
  };
}

/** Replies, calls and the exact mean of replies over circular shifts, summed over blocks with a weight each. */
export interface WeightedReplies { calls: number; replies: number; chance: number }

/** The cheap part of measurePair, for draws and days: no surrogates are drawn. */
export function sumReplies(a: Float64Array, b: Float64Array, blocks: readonly Interval[], settings: NetworkSettings, weightOf: (block: Interval) => number): WeightedReplies {
  const caller = splitByBlocks(a, blocks);
  const replier = splitByBlocks(b, blocks);
  const replies = countReplies(caller, replier, settings.fromSec, settings.toSec);
  const sums = { calls: 0, replies: 0, chance: 0 };
  blocks.forEach((block, k) => {
    const weight = weightOf(block);
    const calls = caller.first[k + 1] - caller.first[k];
    if (weight === 0 || calls === 0) return;
    sums.calls += weight * calls;
    sums.replies += weight * replies[k];
    sums.chance += weight * calls * measureReplyShare(replier.onsets, replier.first[k], replier.first[k + 1], block.endSec - block.startSec, settings.toSec - settings.fromSec);
  });
  return sums;
}
