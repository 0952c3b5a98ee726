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
const BIN_MS = 0.05;
const SPAN_MS = 25;
const LEAST_DISTANCE_MS = 0.02;
const MOST_DISTANCE_MS = 25;
/** A window this far from the median of its neighbours is a stray. */
const STRAY_MS = 0.25;
const RATE_DOUBT = 0.25;
const USUAL_RATE_PPM = 50;

/** What a window of readings says about one recorder. */
export interface StartWindow { tSec: number; spanSec: number; offsetMs: number; ratePpm: number; votes: number; rivalMs: number; rivalVotes: number }

export interface StartGuess {
  /** Offset of a recorder as known so far, ms. */
  readMs: (recorder: number, tSec: number) => number;
  /** How far its rate may be off, parts per million. */
  rateSpanPpm: number;
}

/**
 * Finds offset and rate of a recorder in windows of time by voting: every pair of opposite readings of one pair of tracks votes for the half of
 * their difference (RFC 5905 section 8: theta = ((T2 - T1) + (T3 - T4)) / 2), at the rate under trial; wrong peaks scatter, right ones agree.
 */
export function voteWindows(readings: LagReadings, recorderOfTrack: readonly number[], recorder: number, settled: ReadonlySet<number>, guess: StartGuess, durationSec: number): StartWindow[] {
  const out: StartWindow[] = [];
  const windowSec = chooseWindow(readings, recorderOfTrack, recorder, settled, durationSec);
  const hop = durationSec <= windowSec || durationSec > LONG_SEC ? windowSec : windowSec / 2;
  let drift = 0;
  let locked = false;
  for (let from = 0; from === 0 || from + windowSec / 2 < durationSec; from += hop) {
    const ballots = collectBallots(readings, recorderOfTrack, recorder, settled, guess, from, from + windowSec);
    if (ballots.length === 0) continue;
    const centre = (from + Math.min(durationSec, from + windowSec)) / 2;
    const window = { ...countVotes(ballots, centre, drift, locked ? 4 : guess.rateSpanPpm), spanSec: windowSec };
    // Where no exchange gives a distance that can be, nothing was voted for: there is no offset to tell.
    if (window.votes <= 0) continue;
    out.push(window);
    // A clear window settles the rate for those that follow; temperature changes it by a few parts per million at most.
    if (window.votes > 2.5 * window.rivalVotes && window.votes > 3) { drift = window.ratePpm; locked = true; }
  }
  return out;
}

/** Length of the windows: long enough for a vote, and no longer. */
function chooseWindow(r: LagReadings, recorderOfTrack: readonly number[], recorder: number, settled: ReadonlySet<number>, durationSec: number): number {
  let count = 0;
  for (let m = 0; m < r.count; m++) {
    const a = recorderOfTrack[r.from[m]];
    const b = recorderOfTrack[r.to[m]];
    if ((a === recorder && settled.has(b)) || (b === recorder && settled.has(a))) count++;
  }
  return Math.min(LONGEST_WINDOW_SEC, Math.max(WINDOW_SEC, (WINDOW_READINGS * durationSec) / Math.max(1, count)));
}

/** Opposite readings of one pair: half difference and half sum, the mean time and the time between. */
export interface Ballot { halfDifference: number; halfSum: number; meanSec: number; apartSec: number; weight: number }

export function collectBallots(readings: LagReadings, recorderOfTrack: readonly number[], recorder: number, settled: ReadonlySet<number>, guess: StartGuess, fromSec: number, toSec: number): Ballot[] {
  const pairs = new Map<number, { there: [number, number][]; back: [number, number][] }>();
  for (let m = findFirst(readings.tSec, fromSec); m < readings.count && readings.tSec[m] < toSec; m++) {
    const a = recorderOfTrack[readings.from[m]];
    const b = recorderOfTrack[readings.to[m]];
    const outward = b === recorder && settled.has(a);
    if (!outward && !(a === recorder && settled.has(b))) continue;
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

function countVotes(ballots: readonly Ballot[], centreSec: number, ratePpm: number, spanPpm: number): Omit<StartWindow, 'spanSec'> {
  const bins = Math.round((2 * SPAN_MS) / BIN_MS);
  const votes = new Float64Array(bins);
  const smooth = new Float64Array(bins);
  let best: Omit<StartWindow, 'spanSec'> = { tSec: centreSec, offsetMs: 0, ratePpm, votes: -1, rivalMs: 0, rivalVotes: 0 };
  let bestScore = -Infinity;
  for (let trial = -spanPpm; trial <= spanPpm; trial++) {
    const rate = (ratePpm + trial) * 1e-3;
    votes.fill(0);
    for (const b of ballots) {
      const distance = b.halfSum - (rate * b.apartSec) / 2;
      if (distance < LEAST_DISTANCE_MS || distance > MOST_DISTANCE_MS) continue;
      const at = Math.floor((b.halfDifference - rate * (b.meanSec - centreSec) + SPAN_MS) / BIN_MS);
      if (at >= 0 && at < bins) votes[at] += b.weight;
    }
    let top = 0;
    for (let k = 0; k < bins; k++) {
      smooth[k] = votes[k] + 0.7 * ((votes[k - 1] ?? 0) + (votes[k + 1] ?? 0)) + 0.3 * ((votes[k - 2] ?? 0) + (votes[k + 2] ?? 0));
      if (smooth[k] > smooth[top]) top = k;
    }
    // Crystals are seldom off by more than this: few votes do not make a wild rate.
    const score = smooth[top] - RATE_DOUBT * (trial / USUAL_RATE_PPM) ** 2;
    if (score <= bestScore) continue;
    bestScore = score;
    let mass = 0;
    let sum = 0;
    let rival = 0;
    for (let k = 0; k < bins; k++) {
      if (Math.abs(k - top) <= 2) { mass += votes[k]; sum += votes[k] * k; } else if (Math.abs(k - top) > 8 && smooth[k] > smooth[rival]) rival = k;
    }
    best = { tSec: centreSec, offsetMs: (sum / mass + 0.5) * BIN_MS - SPAN_MS, ratePpm: ratePpm + trial, votes: smooth[top], rivalMs: (rival + 0.5) * BIN_MS - SPAN_MS, rivalVotes: Math.abs(rival - top) > 8 ? smooth[rival] : 0 };
  }
  return best;
}

/** Windows without the weak ones and those that stand alone against their neighbours. */
export function dropStrays(windows: readonly StartWindow[]): StartWindow[] {
  const usual = windows.map((w) => w.votes).sort((a, b) => a - b)[windows.length >> 1] ?? 0;
  const strong = windows.filter((w) => w.votes >= Math.min(4, 0.5 * usual));
  return strong.filter((w, k) => {
    const peers = strong.slice(Math.max(0, k - 2), k + 3);
    const rate = medianOf(peers.map((p) => p.ratePpm)) * 1e-3;
    return peers.length < 3 || Math.abs(w.offsetMs - medianOf(peers.map((p) => p.offsetMs - rate * (p.tSec - w.tSec)))) < STRAY_MS;
  });
}

/** Offsets of the windows at rising times, linear between, continued with the rate of the end windows; 0 without windows. */
export function readWindows(windows: readonly StartWindow[], times: readonly number[]): Float64Array {
  const out = new Float64Array(times.length);
  if (windows.length === 0) return out;
  let k = 0;
  times.forEach((t, n) => {
    while (k < windows.length - 1 && windows[k + 1].tSec <= t) k++;
    const a = windows[k];
    const b = windows[k + 1];
    out[n] = !b || t < a.tSec ? a.offsetMs + a.ratePpm * 1e-3 * (t - a.tSec) : a.offsetMs + ((b.offsetMs - a.offsetMs) * (t - a.tSec)) / (b.tSec - a.tSec);
  });
  return out;
}
