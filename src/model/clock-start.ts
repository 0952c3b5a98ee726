import { scoreOffsets, type Arrival } from './clock-score.js';
import type { LagReadings } from './clock-readings.js';
import { medianOf } from './solve.js';

/** Windows hold about this many readings between the recorders, within these lengths. */
const WINDOW_READINGS = 150;
const WINDOW_SEC = 120;
const LONGEST_WINDOW_SEC = 900;
/** Both directions of a pair are combined when they lie within this time. */
const NEAR_SEC = 60;
/** Longer studies get windows that do not overlap. */
const LONG_SEC = 43200;
const MOST_PER_SIDE = 8;
/** Readings of one direction of a pair in a window. */
const MOST_ARRIVALS = 48;
/** A window this far from the median of its neighbours is a stray. */
const STRAY_MS = 0.25;
/** Score over that of the next offset that settles the rate of the windows behind, nats; rates change by this much at most, parts per million. */
const CLEAR_NATS = 6;
const LOCKED_PPM = 4;
/** Rates under trial differ by so much over a window, ms. */
const RATE_STEP_MS = 0.08;
const MOST_TRIALS = 200;
/** Strength of a window that tells anything, and of one that is taken for sure, nats. */
const LEAST_STRENGTH = 1;
export const STRONG_NATS = 8;

/** What a window of readings says about the offset of one group of recorders against another; `strength` is the score over the usual one, nats. */
export interface StartWindow { tSec: number; spanSec: number; offsetMs: number; ratePpm: number; strength: number; doubtMs: number }

export interface StartGuess {
  /** Offset of a recorder as known so far, ms. */
  readMs: (recorder: number, tSec: number) => number;
  /** How far its rate may be off, parts per million. */
  rateSpanPpm: number;
}

/** Two groups of recorders whose clocks are known among themselves; the second one's offset against the first is sought. */
export interface RecorderGroups { first: ReadonlySet<number>; second: ReadonlySet<number> }

/** Finds offset and rate between two groups of recorders in windows of time, each by all its readings together. */
export function voteWindows(readings: LagReadings, recorderOfTrack: readonly number[], groups: RecorderGroups, guess: StartGuess, durationSec: number): StartWindow[] {
  const out: StartWindow[] = [];
  const windowSec = chooseWindow(countBetween(readings, recorderOfTrack, groups), durationSec);
  const hop = durationSec <= windowSec || durationSec > LONG_SEC ? windowSec : windowSec / 2;
  let ratePpm = 0;
  let rateSpanPpm = guess.rateSpanPpm;
  for (let from = 0; from === 0 || from + windowSec / 2 < durationSec; from += hop) {
    const arrivals = collectArrivals(readings, recorderOfTrack, groups, guess, from, from + windowSec);
    if (arrivals.length === 0) continue;
    const to = Math.min(durationSec, from + windowSec);
    const rateStepPpm = Math.max((RATE_STEP_MS * 1e3) / Math.max(1, to - from), rateSpanPpm / MOST_TRIALS);
    const found = scoreOffsets(arrivals, { centreSec: (from + to) / 2, ratePpm, rateSpanPpm, rateStepPpm });
    const [best, rival] = found.peaks;
    const strength = best.score - found.usual;
    // Where no offset does better than the usual one, nothing is known.
    if (!(strength > LEAST_STRENGTH)) continue;
    out.push({ tSec: (from + to) / 2, spanSec: windowSec, offsetMs: best.offsetMs, ratePpm: best.ratePpm, strength, doubtMs: found.doubtMs });
    // A clear window settles the rate for those that follow; temperature changes it by a few parts per million at most.
    if (!rival || best.score - rival.score > CLEAR_NATS) { ratePpm = best.ratePpm; rateSpanPpm = Math.min(rateSpanPpm, LOCKED_PPM); }
  }
  return out;
}

/** Readings between two groups of recorders. */
export function countBetween(r: LagReadings, recorderOfTrack: readonly number[], { first, second }: RecorderGroups): number {
  let n = 0;
  for (let m = 0; m < r.count; m++) {
    const a = recorderOfTrack[r.from[m]];
    const b = recorderOfTrack[r.to[m]];
    if ((first.has(a) && second.has(b)) || (second.has(a) && first.has(b))) n++;
  }
  return n;
}

/** Length of the windows: long enough for a vote, and no longer. */
function chooseWindow(count: number, durationSec: number): number {
  return Math.min(LONGEST_WINDOW_SEC, Math.max(WINDOW_SEC, (WINDOW_READINGS * durationSec) / Math.max(1, count)));
}

function collectArrivals(readings: LagReadings, recorderOfTrack: readonly number[], { first, second }: RecorderGroups, guess: StartGuess, fromSec: number, toSec: number): Arrival[] {
  const directions = new Map<number, Arrival[]>();
  for (let m = findFirst(readings.tSec, fromSec); m < readings.count && readings.tSec[m] < toSec; m++) {
    const [i, j] = [readings.from[m], readings.to[m]];
    const [a, b] = [recorderOfTrack[i], recorderOfTrack[j]];
    const outward = first.has(a) && second.has(b);
    if (!outward && !(second.has(a) && first.has(b))) continue;
    const tSec = readings.tSec[m];
    const arrival = { pair: Math.min(i, j) * 65536 + Math.max(i, j), outward, tSec, lagMs: readings.lagMs[m] - guess.readMs(b, tSec) + guess.readMs(a, tSec), nearMs: readings.nearMs[m], height: 1 / readings.sigmaMs[m] };
    const list = directions.get(i * 65536 + j);
    if (list) list.push(arrival); else directions.set(i * 65536 + j, [arrival]);
  }
  return [...directions.values()].flatMap((list) => thinArrivals(list));
}

function thinArrivals(list: readonly Arrival[]): readonly Arrival[] {
  const every = Math.ceil(list.length / MOST_ARRIVALS);
  return every === 1 ? list : list.filter((_, k) => k % every === 0);
}

/** Opposite readings of one pair: half difference and half sum, the mean time and the time between. */
export interface Ballot { halfDifference: number; halfSum: number; meanSec: number; apartSec: number; weight: number }

export function collectBallots(readings: LagReadings, recorderOfTrack: readonly number[], { first, second }: RecorderGroups, guess: StartGuess, fromSec: number, toSec: number): Ballot[] {
  const pairs = new Map<number, { there: [number, number][]; back: [number, number][] }>();
  for (let m = findFirst(readings.tSec, fromSec); m < readings.count && readings.tSec[m] < toSec; m++) {
    const a = recorderOfTrack[readings.from[m]];
    const b = recorderOfTrack[readings.to[m]];
    const outward = first.has(a) && second.has(b);
    if (!outward && !(second.has(a) && first.has(b))) continue;
    const t = readings.tSec[m];
    const lag = readings.lagMs[m] - guess.readMs(b, t) + guess.readMs(a, t);
    const key = outward ? readings.from[m] * 65536 + readings.to[m] : readings.to[m] * 65536 + readings.from[m];
    let pair = pairs.get(key);
    if (!pair) pairs.set(key, pair = { there: [], back: [] });
    addThinned(outward ? pair.there : pair.back, t, lag);
  }
  const out: Ballot[] = [];
  for (const { there, back } of pairs.values()) {
    const weight = 1 / Math.sqrt(Math.max(1, there.length * back.length));
    for (const [t, f] of there) {
      for (const [u, b] of back) {
        if (Math.abs(t - u) > NEAR_SEC) continue;
        out.push({ halfDifference: (f - b) / 2, halfSum: (f + b) / 2, meanSec: (t + u) / 2, apartSec: t - u, weight });
      }
    }
  }
  return out;
}

/** Index of the first time at or after a given one. */
function findFirst(times: Float64Array, fromSec: number): number {
  let low = 0;
  let high = times.length;
  while (low < high) {
    const mid = (low + high) >> 1;
    if (times[mid] < fromSec) low = mid + 1; else high = mid;
  }
  return low;
}

/** Strings of calls from one place count once; of long lists every second entry is kept, again and again. */
function addThinned(list: [number, number][], t: number, lag: number): void {
  for (let k = list.length - 1; k >= 0 && t - list[k][0] < 3; k--) if (Math.abs(list[k][1] - lag) < 0.05) return;
  list.push([t, lag]);
  if (list.length > 2 * MOST_PER_SIDE) for (let k = list.length - 1; k > 0; k -= 2) list.splice(k, 1);
}

/** Windows without the weak ones and those that stand alone against their neighbours. */
export function dropStrays(windows: readonly StartWindow[]): StartWindow[] {
  const usual = windows.map((w) => w.strength).sort((a, b) => a - b)[windows.length >> 1] ?? 0;
  const strong = windows.filter((w) => w.strength >= Math.min(STRONG_NATS, 0.5 * usual));
  return strong.filter((w, k) => {
    const peers = strong.slice(Math.max(0, k - 2), k + 3);
    const rate = medianOf(peers.map((p) => p.ratePpm)) * 1e-3;
    return peers.length < 3 || Math.abs(w.offsetMs - medianOf(peers.map((p) => p.offsetMs - rate * (p.tSec - w.tSec)))) < STRAY_MS;
  });
}

/** Offset that windows in order of time say, linear between them, continued with the rates of the end windows, ms; 0 without windows. */
export function readWindow(windows: readonly StartWindow[], tSec: number): number {
  if (windows.length === 0) return 0;
  let low = 0;
  let high = windows.length - 1;
  while (low < high) {
    const mid = (low + high + 1) >> 1;
    if (windows[mid].tSec <= tSec) low = mid; else high = mid - 1;
  }
  const a = windows[low];
  const b = windows[low + 1];
  return !b || tSec < a.tSec ? a.offsetMs + a.ratePpm * 1e-3 * (tSec - a.tSec) : a.offsetMs + ((b.offsetMs - a.offsetMs) * (tSec - a.tSec)) / (b.tSec - a.tSec);
}
