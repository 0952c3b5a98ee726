import { exp, ln } from '../numeric/elementary.js';
import type { Arrival } from './clock-score.js';

export const SPAN_MS = 25;
export const BIN_MS = 0.05;
export const BINS = Math.round((2 * SPAN_MS) / BIN_MS);
/** Calls closer than this count once, seconds. */
export const STRING_SEC = 0.5;
/** Peaks of one track within this time are rivals: those of one call, seconds. */
const CALL_SEC = 0.05;
/** Readings of one direction that lie this close together come from one place of both birds, ms. */
const SAME_PLACE_MS = 0.06;
/** Half the difference between there and back scatters by this: skew of a pair and delays of its receivers, ms. */
const HALF_SIGMA_MS = 0.06;
/** Time in which most birds have moved on, about, seconds. */
const STAY_SEC = 120;
/** Shares of calls: with a right peak, and of those with an answer from the same places. */
const RIGHT_SHARE = 0.6;
const ANSWERED_SHARE = 0.5;
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

/** Density of a wrong peak, per ms. */
export function chanceOf(nearMs: number): number {
  return 0.5 * (0.3989 / NEAR_SIGMA_MS) * exp(-0.5 * (nearMs / NEAR_SIGMA_MS) ** 2) + 0.5 / FRAME_MS;
}

/** One of the lags of a call at the middle of the window, with its share among the rivals, per density of a wrong peak. */
interface Peak { lagMs: number; odds: number; side: Side }
interface Call { tSec: number; peaks: Peak[] }
/** Readings of one direction at one lag: calls of a string count once. */
interface Side { lagMs: number; count: number; firstSec: number; lastSec: number; chance: number }

/** Adds what one pair of tracks says about every offset at a rate; `edges` holds steps that last to the next. */
export function addPair(score: Float64Array, edges: Float64Array, thereAll: readonly Arrival[], backAll: readonly Arrival[], ratePpm: number, centreSec: number): void {
  const there = listCalls(thereAll, ratePpm, centreSec, 1);
  const back = listCalls(backAll, ratePpm, centreSec, -1);
  // Both directions see the same agreement: each counts half.
  const weight = there.sides.length > 0 && back.sides.length > 0 ? 0.5 : 1;
  for (const c of there.calls) addCall(score, edges, c, back.sides, 1, weight);
  for (const c of back.calls) addCall(score, edges, c, there.sides, -1, weight);
  addLeaks(score, there.sides, 1);
  addLeaks(score, back.sides, -1);
}

function listCalls(arrivals: readonly Arrival[], ratePpm: number, centreSec: number, sign: number): { calls: Call[]; sides: Side[] } {
  const peaks = arrivals.map((a) => ({ a, lagMs: a.lagMs - sign * ratePpm * 1e-3 * (a.tSec - centreSec) }));
  const sides: Side[] = [];
  const sideOf = new Map<Arrival, Side>();
  const sorted = [...peaks].sort((p, q) => p.lagMs - q.lagMs);
  for (let from = 0, k = 1; k <= sorted.length; k++) {
    if (k < sorted.length && sorted[k].lagMs - sorted[k - 1].lagMs <= SAME_PLACE_MS) continue;
    const part = sorted.slice(from, k);
    const side = makeSide(part);
    sides.push(side);
    for (const e of part) sideOf.set(e.a, side);
    from = k;
  }
  const calls: Call[] = [];
  for (let from = 0, k = 1; k <= peaks.length; k++) {
    if (k < peaks.length && peaks[k].a.tSec - peaks[from].a.tSec < CALL_SEC) continue;
    const part = peaks.slice(from, k);
    const total = part.reduce((s, e) => s + e.a.height ** 2, 0);
    calls.push({ tSec: peaks[from].a.tSec, peaks: part.map((e) => ({ lagMs: e.lagMs, odds: e.a.height ** 2 / total / sideOf.get(e.a)!.chance, side: sideOf.get(e.a)! })) });
    from = k;
  }
  return { calls, sides };
}

function makeSide(part: readonly { a: Arrival; lagMs: number }[]): Side {
  const times = part.map((e) => e.a.tSec).sort((x, y) => x - y);
  let count = 1;
  for (let m = 1, last = times[0]; m < times.length; m++) if (times[m] - last > STRING_SEC) { count++; last = times[m]; }
  const away = part.reduce((m, e) => Math.max(m, Math.abs(e.a.nearMs)), 0);
  return { lagMs: part.reduce((s, e) => s + e.lagMs, 0) / part.length, count, firstSec: times[0], lastSec: times[times.length - 1], chance: chanceOf(away) };
}

/** Working room of addCall, left empty. */
const odds = new Float64Array(BINS);

/** What one call says: that a peak gives a distance that can be, or one that the other direction shows as well. */
function addCall(score: Float64Array, edges: Float64Array, call: Call, answers: readonly Side[], sign: number, half: number): void {
  const weight = half / Math.sqrt(call.peaks.reduce((n, p) => Math.max(n, p.side.count), 1));
  const answered = answers.reduce((s, b) => s + b.count, 0);
  const open = answered > 0 ? 1 - ANSWERED_SHARE : 1;
  const touched: number[] = [];
  for (const p of call.peaks) {
    for (const b of answers) {
      const distance = (p.lagMs + b.lagMs) / 2;
      if (distance < LEAST_DISTANCE_MS || distance > MOST_DISTANCE_MS) continue;
      const apartSec = Math.max(0, b.firstSec - call.tSec, call.tSec - b.lastSec);
      // Of the distance, which is twice as wide as half the difference.
      const peak = (p.odds * RIGHT_SHARE * ANSWERED_SHARE * (b.count / answered) * exp(-apartSec / STAY_SEC) * 0.3989) / (2 * HALF_SIGMA_MS);
      const at = ((sign * (p.lagMs - b.lagMs)) / 2 + SPAN_MS) / BIN_MS - 0.5;
      const reach = (4 * HALF_SIGMA_MS) / BIN_MS;
      for (let k = Math.max(0, Math.ceil(at - reach)); k <= Math.min(BINS - 1, at + reach); k++) {
        if (odds[k] === 0) touched.push(k);
        odds[k] += peak * exp(-0.5 * (((k - at) * BIN_MS) / HALF_SIGMA_MS) ** 2);
      }
    }
  }
  addPlain(score, edges, call, open, weight, sign, touched);
}

/** The part of the likelihood that is level in between, and the bumps on it. */
function addPlain(score: Float64Array, edges: Float64Array, call: Call, open: number, weight: number, sign: number, touched: readonly number[]): void {
  const breaks: { at: number; by: number }[] = [];
  for (const p of call.peaks) {
    for (const [low, high, density] of BOUNDS) {
      const [from, to] = sign > 0 ? [p.lagMs - high, p.lagMs - low] : [low - p.lagMs, high - p.lagMs];
      const by = RIGHT_SHARE * open * p.odds * density;
      breaks.push({ at: toBin(from), by }, { at: toBin(to), by: -by });
    }
  }
  breaks.sort((a, b) => a.at - b.at);
  let level = 1 - RIGHT_SHARE;
  let value = ln(level);
  edges[0] += weight * value;
  const steps = [{ at: 0, level }];
  breaks.forEach(({ at, by }, n) => {
    level += by;
    if (at >= BINS || breaks[n + 1]?.at === at) return;
    const next = ln(level);
    edges[at] += weight * (next - value);
    value = next;
    steps.push({ at, level });
  });
  for (const k of touched) {
    let n = steps.length - 1;
    while (steps[n].at > k) n--;
    score[k] += weight * ln(1 + odds[k] / steps[n].level);
    odds[k] = 0;
  }
}

const BOUNDS = [[LEAST_DISTANCE_MS, USUAL_DISTANCE_MS, USUAL_DENSITY], [USUAL_DISTANCE_MS, MOST_DISTANCE_MS, FAR_DENSITY]];

function toBin(offsetMs: number): number {
  return Math.min(BINS, Math.max(0, Math.round((offsetMs + SPAN_MS) / BIN_MS)));
}

function addLeaks(score: Float64Array, sides: readonly Side[], sign: number): void {
  for (const s of sides) {
    if (s.count < LEAST_LEAK) continue;
    const share = s.count < SURE_LEAK ? LEAK_SHARE : SURE_LEAK_SHARE;
    const at = (sign * s.lagMs + SPAN_MS) / BIN_MS - 0.5;
    const reach = (4 * LEAK_SIGMA_MS) / BIN_MS;
    for (let k = Math.max(0, Math.ceil(at - reach)); k <= Math.min(BINS - 1, at + reach); k++) {
      score[k] += ln(1 + ((share * 0.3989) / (LEAK_SIGMA_MS * s.chance)) * exp(-0.5 * (((k - at) * BIN_MS) / LEAK_SIGMA_MS) ** 2));
    }
  }
}
