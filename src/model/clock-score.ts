import { exp, ln } from '../numeric/elementary.js';
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
}

/** An offset of the second group against the first, with the rate that suits it best; score in nats of log likelihood ratio. */
export interface Hypothesis { offsetMs: number; ratePpm: number; score: number }

export interface ScoreRange { centreSec: number; ratePpm: number; rateSpanPpm: number; rateStepPpm: number }

export const SPAN_MS = 25;
const BIN_MS = 0.05;
const BINS = Math.round((2 * SPAN_MS) / BIN_MS);
const MOST_RIVALS = 6;
const RIVAL_APART_MS = 0.3;
/** Crystals are seldom off by more than this against each other: one standard deviation. */
const USUAL_RATE_PPM = 40;
/** Readings of one direction that lie this close together come from one place of both birds, ms. */
const SAME_PLACE_MS = 0.06;
/** Calls closer than this count once, seconds. */
const STRING_SEC = 0.5;
/** Half the difference between there and back scatters by this: skew of a pair and delays of its receivers, ms. */
const HALF_SIGMA_MS = 0.06;
/** Lags of one direction are compared with this many before; how often they agree, and how closely, ms. */
const MOST_BEFORE = 3;
const STAY_SHARE = 0.4;
const STAY_SIGMA_MS = 0.03;
/** Time in which half of the birds have moved on, about, seconds. */
const STAY_SEC = 120;
/** Wrong peaks: half of them near the alignment (frames that overlap most win), the others anywhere in the frame. */
const NEAR_SIGMA_MS = 0.8;
const FRAME_MS = 14;
/** Distances, ms of travel: evenly up to a usual room's, thinly beyond. */
const LEAST_DISTANCE_MS = -0.05;
const USUAL_DISTANCE_MS = 10;
const MOST_DISTANCE_MS = 25;
const USUAL_DENSITY = 0.088;
const FAR_DENSITY = 0.008;
/** A radio link that is heard in another channel shows everything without any travel: many readings at one lag. */
const LEAST_LEAK = 4;
const LEAK_SIGMA_MS = 0.04;
const LEAK_SHARE = 0.02;
const SURE_LEAK = 12;
const SURE_LEAK_SHARE = 0.06;

/** Readings of one direction of a pair at one lag. */
interface Side { lagMs: number; count: number; chance: number; firstSec: number; lastSec: number }

/**
 * Scores every offset by all arrivals together: a lag there and a lag back that give one distance (half their difference is the offset whatever the
 * distance, RFC 5905 section 8), distances that cannot be, and radio links heard in other channels, each as the logarithm of how much likelier the
 * lags are if the offset is true. Wrong peaks are expected, most of all near the alignment; many readings at one lag count once.
 * @returns the best offset first, then its rivals, and the median of the scores of all offsets
 */
export function scoreOffsets(arrivals: readonly Arrival[], range: ScoreRange): { peaks: Hypothesis[]; usual: number } {
  const directions = groupDirections(arrivals);
  const best = new Float64Array(BINS).fill(-Infinity);
  const rates = new Float64Array(BINS);
  const score = new Float64Array(BINS);
  const edges = new Float64Array(BINS + 1);
  const trials = Math.round(range.rateSpanPpm / range.rateStepPpm);
  for (let n = -trials; n <= trials; n++) {
    const ratePpm = range.ratePpm + n * range.rateStepPpm;
    score.fill(0);
    edges.fill(0);
    for (const { there, back } of directions) addPair(score, edges, listSides(there, ratePpm, range.centreSec, 1), listSides(back, ratePpm, range.centreSec, -1));
    // Where birds stay, their lags stay: this alone tells the rate.
    let sum = -0.5 * ((n * range.rateStepPpm) / USUAL_RATE_PPM) ** 2;
    for (const { there, back } of directions) sum += scoreStays(there, ratePpm, 1) + scoreStays(back, ratePpm, -1);
    for (let k = 0; k < BINS; k++) {
      sum += edges[k];
      const v = score[k] + sum;
      if (v > best[k]) { best[k] = v; rates[k] = ratePpm; }
    }
  }
  return { peaks: listPeaks(best, rates), usual: medianOf(best) };
}

function groupDirections(arrivals: readonly Arrival[]): { there: Arrival[]; back: Arrival[] }[] {
  const pairs = new Map<number, { there: Arrival[]; back: Arrival[] }>();
  for (const a of arrivals) {
    let pair = pairs.get(a.pair);
    if (!pair) pairs.set(a.pair, pair = { there: [], back: [] });
    (a.outward ? pair.there : pair.back).push(a);
  }
  return [...pairs.values()];
}

function listSides(arrivals: readonly Arrival[], ratePpm: number, centreSec: number, sign: number): Side[] {
  const sorted = arrivals.map((a) => ({ a, lag: a.lagMs - sign * ratePpm * 1e-3 * (a.tSec - centreSec) })).sort((p, q) => p.lag - q.lag);
  const out: Side[] = [];
  for (let from = 0, k = 1; k <= sorted.length; k++) {
    if (k < sorted.length && sorted[k].lag - sorted[k - 1].lag <= SAME_PLACE_MS) continue;
    const part = sorted.slice(from, k);
    const times = part.map((e) => e.a.tSec).sort((x, y) => x - y);
    let count = 1;
    for (let m = 1, last = times[0]; m < times.length; m++) if (times[m] - last > STRING_SEC) { count++; last = times[m]; }
    const away = part.reduce((m, e) => Math.max(m, Math.abs(e.a.nearMs)), 0);
    out.push({
      lagMs: part.reduce((s, e) => s + e.lag, 0) / part.length, count, firstSec: times[0], lastSec: times[times.length - 1],
      chance: chanceOf(away),
    });
    from = k;
  }
  return out;
}

/** How much likelier the lags of one direction are if the birds often stay where they were, at a rate. */
function scoreStays(arrivals: readonly Arrival[], ratePpm: number, sign: number): number {
  let sum = 0;
  arrivals.forEach((a, n) => {
    let agreed = 0;
    let met = 0;
    for (let k = n - 1; k >= 0 && met < MOST_BEFORE; k--) {
      const b = arrivals[k];
      if (a.tSec - b.tSec < STRING_SEC) continue;
      met++;
      agreed += exp(-0.5 * ((a.lagMs - b.lagMs - sign * ratePpm * 1e-3 * (a.tSec - b.tSec)) / STAY_SIGMA_MS) ** 2);
    }
    if (met > 0 && agreed > 1e-6) sum += ln(1 + (STAY_SHARE * 0.3989 * agreed) / (STAY_SIGMA_MS * met * chanceOf(a.nearMs)));
  });
  return sum;
}

/** Density of a wrong peak, per ms. */
function chanceOf(nearMs: number): number {
  return 0.5 * (0.3989 / NEAR_SIGMA_MS) * exp(-0.5 * (nearMs / NEAR_SIGMA_MS) ** 2) + 0.5 / FRAME_MS;
}

function addPair(score: Float64Array, edges: Float64Array, there: readonly Side[], back: readonly Side[]): void {
  for (const s of there) addSide(score, edges, s, 1);
  for (const s of back) addSide(score, edges, s, -1);
  const total = { there: sumCounts(there), back: sumCounts(back) };
  for (const f of there) {
    for (const b of back) {
      const distance = (f.lagMs + b.lagMs) / 2;
      if (distance < LEAST_DISTANCE_MS || distance > MOST_DISTANCE_MS) continue;
      const apartSec = Math.max(0, f.firstSec - b.lastSec, b.firstSec - f.lastSec);
      const share = (0.25 + 0.25 * Number(f.count > 1) + 0.25 * Number(b.count > 1)) * exp(-apartSec / STAY_SEC) * Math.min(f.count / total.there, b.count / total.back);
      addBump(score, (f.lagMs - b.lagMs) / 2, HALF_SIGMA_MS, 0.5 * (share * densityOf(distance)) / (f.chance * b.chance));
    }
  }
}

function sumCounts(sides: readonly Side[]): number {
  return sides.reduce((s, e) => s + e.count, 0);
}

/** What one side says alone: distances are not negative, and seldom large. */
function addSide(score: Float64Array, edges: Float64Array, s: Side, sign: number): void {
  const share = s.count > 1 ? 0.5 : 0.3;
  const bounds = [[LEAST_DISTANCE_MS, USUAL_DISTANCE_MS, USUAL_DENSITY], [USUAL_DISTANCE_MS, MOST_DISTANCE_MS, FAR_DENSITY]];
  const never = ln(1 - share);
  edges[0] += never;
  for (const [low, high, density] of bounds) {
    // Offsets at which the distance lies in [low, high).
    const [from, to] = sign > 0 ? [s.lagMs - high, s.lagMs - low] : [low - s.lagMs, high - s.lagMs];
    const more = ln(1 - share + (share * density) / s.chance) - never;
    edges[toBin(from)] += more;
    edges[toBin(to)] -= more;
  }
  if (s.count < LEAST_LEAK) return;
  addBump(score, sign * s.lagMs, LEAK_SIGMA_MS, (s.count < SURE_LEAK ? LEAK_SHARE : SURE_LEAK_SHARE) / s.chance);
}

function toBin(offsetMs: number): number {
  return Math.min(BINS, Math.max(0, Math.round((offsetMs + SPAN_MS) / BIN_MS)));
}

function densityOf(distanceMs: number): number {
  return distanceMs < USUAL_DISTANCE_MS ? USUAL_DENSITY : FAR_DENSITY;
}

/** Adds ln(1 + odds * normal density) around an offset. */
function addBump(score: Float64Array, offsetMs: number, sigmaMs: number, odds: number): void {
  const at = (offsetMs + SPAN_MS) / BIN_MS - 0.5;
  const reach = (4 * sigmaMs) / BIN_MS;
  const peak = (odds * 0.3989) / sigmaMs;
  for (let k = Math.max(0, Math.ceil(at - reach)); k <= Math.min(BINS - 1, at + reach); k++) score[k] += ln(1 + peak * exp(-0.5 * (((k - at) * BIN_MS) / sigmaMs) ** 2));
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
