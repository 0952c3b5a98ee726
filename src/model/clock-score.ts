import { exp, ln } from '../numeric/elementary.js';
import { addPair, BIN_MS, BINS, chanceOf, SPAN_MS, STRING_SEC } from './clock-pair-score.js';
import { medianOf } from './solve.js';

/** A lag between two groups of recorders, as heard from the first group to the second (outward) or back, known offsets taken away, ms. */
export interface Arrival {
  /** Both tracks, the same for both directions. */
  pair: number;
  outward: boolean;
  tSec: number;
  lagMs: number;
  /** The lag against the alignment that it was measured with, ms. */
  nearMs: number;
  /** Height of the correlation, standard deviations of noise. */
  height: number;
}

/** An offset of the second group against the first, with the rate that suits it best; score in nats of log likelihood ratio. */
export interface Hypothesis { offsetMs: number; ratePpm: number; score: number }

export interface Scored {
  /** The best offset first, then its rivals. */
  peaks: Hypothesis[];
  /** Median of the scores of all offsets. */
  usual: number;
  /** Standard uncertainty from offsets other than the best, ms. */
  doubtMs: number;
}

export interface ScoreRange { centreSec: number; ratePpm: number; rateSpanPpm: number; rateStepPpm: number }

const MOST_RIVALS = 8;
const RIVAL_APART_MS = 0.25;
/** Crystals are seldom off by more than this against each other: one standard deviation. */
const USUAL_RATE_PPM = 40;
/** Rates that fit the stays worse than the best one by more than this are not tried, nats; nor more than so many. */
const RATE_NATS = 8;
const MOST_RATES = 15;
/** Lags of one direction are compared with this many before; how often they agree, and how closely, ms. */
const MOST_BEFORE = 6;
const STAY_SHARE = 0.4;
const STAY_SIGMA_MS = 0.03;

/**
 * Scores every offset by all arrivals together: a lag there and a lag back that give one distance (half their difference is the offset whatever the
 * distance, RFC 5905 section 8), distances that cannot be, and radio links heard in other channels, each as the logarithm of how much likelier the
 * lags are if the offset is true. Of the peaks of one call one at most is right, and many calls from one place count little more than one.
 */
export function scoreOffsets(arrivals: readonly Arrival[], range: ScoreRange): Scored {
  const directions = groupDirections(arrivals);
  const best = new Float64Array(BINS).fill(-Infinity);
  const rates = new Float64Array(BINS);
  for (const { ratePpm, nats } of chooseRates(directions, range)) {
    const score = new Float64Array(BINS);
    const edges = new Float64Array(BINS + 1);
    for (const { there, back } of directions) addPair(score, edges, there, back, ratePpm, range.centreSec);
    let sum = nats;
    for (let k = 0; k < BINS; k++) {
      sum += edges[k];
      const v = score[k] + sum;
      if (v > best[k]) { best[k] = v; rates[k] = ratePpm; }
    }
  }
  const peaks = listPeaks(best, rates);
  return { peaks, usual: medianOf(best), doubtMs: weighRivals(best, peaks[0]) };
}

/** Root mean square distance of all other offsets from the best one, each weighted by its likelihood, ms. */
function weighRivals(best: Float64Array, top: Hypothesis): number {
  let mass = 0;
  let sum = 0;
  for (let k = 0; k < BINS; k++) {
    const w = exp(best[k] - top.score);
    const apart = (k + 0.5) * BIN_MS - SPAN_MS - top.offsetMs;
    mass += w;
    if (apart > RIVAL_APART_MS || apart < -RIVAL_APART_MS) sum += w * apart * apart;
  }
  return Math.sqrt(sum / mass);
}

interface Direction { there: Arrival[]; back: Arrival[] }

function groupDirections(arrivals: readonly Arrival[]): Direction[] {
  const pairs = new Map<number, Direction>();
  for (const a of arrivals) {
    let pair = pairs.get(a.pair);
    if (!pair) pairs.set(a.pair, pair = { there: [], back: [] });
    (a.outward ? pair.there : pair.back).push(a);
  }
  return [...pairs.values()];
}

/** Where birds stay, their lags stay: this alone tells the rate, and only rates that it allows are tried. */
function chooseRates(directions: readonly Direction[], range: ScoreRange): { ratePpm: number; nats: number }[] {
  const trials = Math.round(range.rateSpanPpm / range.rateStepPpm);
  const rates = Array.from({ length: 2 * trials + 1 }, (_, n) => {
    const by = (n - trials) * range.rateStepPpm;
    let nats = -0.5 * (by / USUAL_RATE_PPM) ** 2;
    for (const { there, back } of directions) nats += scoreStays(there, range.ratePpm + by, 1) + scoreStays(back, range.ratePpm + by, -1);
    return { ratePpm: range.ratePpm + by, nats };
  }).sort((a, b) => b.nats - a.nats || a.ratePpm - b.ratePpm);
  return rates.slice(0, MOST_RATES).filter((r) => r.nats > rates[0].nats - RATE_NATS);
}

/** How much likelier the lags of one direction are if the birds often stay where they were, at a rate. */
function scoreStays(arrivals: readonly Arrival[], ratePpm: number, sign: number): number {
  let sum = 0;
  for (let n = 1; n < arrivals.length; n++) {
    const a = arrivals[n];
    let agreed = 0;
    let met = 0;
    for (let k = n - 1; k >= 0 && met < MOST_BEFORE; k--) {
      const apartSec = a.tSec - arrivals[k].tSec;
      if (apartSec < STRING_SEC) continue;
      met++;
      const z = (a.lagMs - arrivals[k].lagMs - sign * ratePpm * 1e-3 * apartSec) / STAY_SIGMA_MS;
      if (z < 5 && z > -5) agreed += exp(-0.5 * z * z);
    }
    if (agreed > 1e-6) sum += ln(1 + (STAY_SHARE * 0.3989 * agreed) / (STAY_SIGMA_MS * met * chanceOf(a.nearMs)));
  }
  return sum;
}

/** Local maxima, the best first, none within the reach of a better one. */
function listPeaks(best: Float64Array, rates: Float64Array): Hypothesis[] {
  const order = [...best.keys()].sort((a, b) => best[b] - best[a] || a - b);
  const out: Hypothesis[] = [];
  for (const k of order) {
    if (out.length >= MOST_RIVALS) break;
    const offsetMs = refineOffset(best, k);
    if (!out.some((h) => Math.abs(h.offsetMs - offsetMs) < RIVAL_APART_MS)) out.push({ offsetMs, ratePpm: rates[k], score: best[k] });
  }
  return out;
}

/** Centre of the likelihood within a few bins of a peak. */
function refineOffset(best: Float64Array, top: number): number {
  let mass = 0;
  let sum = 0;
  for (let k = Math.max(0, top - 3); k <= Math.min(BINS - 1, top + 3); k++) {
    const w = exp(best[k] - best[top]);
    mass += w;
    sum += w * k;
  }
  return (sum / mass + 0.5) * BIN_MS - SPAN_MS;
}
