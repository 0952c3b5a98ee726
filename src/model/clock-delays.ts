import { formStays } from './clock-stays.js';
import type { ClockState } from './clock-groups.js';
import { keepReadings, type LagReadings } from './clock-readings.js';
import { medianOf, solveRobust, type Observation } from './solve.js';

export interface TrackDelays {
  /** Delay of every track beyond the usual one of its recorder, ms. */
  delayMs: Float64Array;
  /** Standard uncertainty, ms; NaN where nothing tells. */
  uncertaintyMs: Float64Array;
  /** True where the delay can be told: the recorder has another track and both were heard there and back, with each other or with a third. */
  identifiable: boolean[];
}

const NEAR_SEC = 60;
const SPAN_MS = 1.2;
const BIN_MS = 0.02;
const LEAST_VOTES = 3;
/** Partners of one reading in the other direction. */
const MOST_PARTNERS = 3;
const DELAY_SIGMA_MS = 0.2;
const SHIFT_SIGMA_MS = 0.5;

/**
 * Delays of the receivers from calls there and back: half the difference of the lags of one pair is the difference of both delays (plus that of
 * the clocks, taken away by `clockMs`), whatever the distance. All pairs together must close: a to b and b to c give a to c.
 * Identifiable are differences between the tracks of one recorder only. What all of them have in common looks like an offset of the clock, so
 * the usual (median) delay of a recorder counts as zero.
 */
export function fitTrackDelays(readings: LagReadings, recorderOfTrack: readonly number[], clockMs: (recorder: number, tSec: number) => number): TrackDelays {
  const tracks = recorderOfTrack.length;
  const recorders = Math.max(...recorderOfTrack) + 1;
  const observations: Observation[] = [];
  const parent = recorderOfTrack.map((_, j) => j);
  const root = (j: number): number => (parent[j] === j ? j : root(parent[j]));
  for (const [key, sides] of collectSides(readings, recorderOfTrack, clockMs)) {
    const [i, j] = [Math.floor(key / tracks), key % tracks];
    const peak = votePair(sides);
    if (!peak) continue;
    const [a, b] = [recorderOfTrack[i], recorderOfTrack[j]];
    const unknowns = [j, i];
    const coefficients = [1, -1];
    // Clocks that are off by a constant shift every pair between two recorders alike.
    if (a !== b) { unknowns.push(tracks + b, tracks + a); coefficients.push(1, -1); }
    observations.push({ unknowns, coefficients, value: peak.differenceMs, weight: Math.min(10, peak.votes) });
    parent[root(i)] = root(j);
  }
  const identifiable = recorderOfTrack.map((r, j) => recorderOfTrack.some((q, k) => k !== j && q === r && root(k) === root(j)));
  const delayMs = new Float64Array(tracks);
  const uncertaintyMs = new Float64Array(tracks).fill(NaN);
  if (observations.length === 0) return { delayMs, uncertaintyMs, identifiable };
  const prior: [number, number][] = [...recorderOfTrack.map((): [number, number] => [0, DELAY_SIGMA_MS]), ...Array.from({ length: recorders }, (): [number, number] => [0, SHIFT_SIGMA_MS])];
  const { x, scale } = solveRobust(observations, prior, 0.02);
  for (let j = 0; j < tracks; j++) {
    if (!identifiable[j]) continue;
    const peers = recorderOfTrack.map((_, k) => k).filter((k) => recorderOfTrack[k] === recorderOfTrack[j] && identifiable[k]);
    delayMs[j] = x[j] - medianOf(peers.map((k) => x[k]));
    const weight = observations.reduce((s, o) => (o.unknowns[0] === j || o.unknowns[1] === j ? s + o.weight : s), 0);
    uncertaintyMs[j] = scale / Math.sqrt(Math.max(1, weight));
  }
  return { delayMs, uncertaintyMs, identifiable };
}

/** Receivers of one kind differ by less than this; a larger delay has to be borne out, ms. */
const USUAL_MOST_MS = 0.1;
/** A larger delay is taken where it makes exchanges of the track's readings that outnumber those without it by this factor, and by so many. */
const OUTNUMBERED = 3;
const LEAST_GAIN = 6;
const CONFIRM = { gapMs: 0.2, sameMs: 0.04 };

/** Delays without the large ones that votes alone found: wrong peaks agree with each other, too, where calls are few. */
export function confirmDelays(r: LagReadings, state: ClockState, recorderOfTrack: readonly number[]): Float64Array {
  const out = state.delayMs.map((d) => (Math.abs(d) > USUAL_MOST_MS ? 0 : d));
  const large = [...state.delayMs.keys()].filter((j) => Math.abs(state.delayMs[j]) > USUAL_MOST_MS).sort((a, b) => Math.abs(state.delayMs[b]) - Math.abs(state.delayMs[a]));
  for (const j of large) {
    const without = countExchanged(r, { ...state, delayMs: out }, recorderOfTrack, j);
    const delayMs = out.slice();
    delayMs[j] = state.delayMs[j];
    if (countExchanged(r, { ...state, delayMs }, recorderOfTrack, j) >= OUTNUMBERED * without + LEAST_GAIN) out[j] = state.delayMs[j];
  }
  return out;
}

/** Readings of one track that have a partner in the other direction. */
function countExchanged(r: LagReadings, state: ClockState, recorderOfTrack: readonly number[], track: number): number {
  const own = keepReadings(r, (m) => r.from[m] === track || r.to[m] === track);
  let sum = 0;
  for (const { members, bothWays } of formStays(own, state, recorderOfTrack, CONFIRM)) {
    if (!bothWays) continue;
    const there = members.filter((m) => own.from[m] < own.to[m]).length;
    sum += Math.min(there, members.length - there);
  }
  return sum;
}

interface Sides { there: [number, number][]; back: [number, number][] }

function collectSides(r: LagReadings, recorderOfTrack: readonly number[], clockMs: (recorder: number, tSec: number) => number): Map<number, Sides> {
  const out = new Map<number, Sides>();
  for (let m = 0; m < r.count; m++) {
    const [from, to] = [r.from[m], r.to[m]];
    const t = r.tSec[m];
    const [a, b] = [recorderOfTrack[from], recorderOfTrack[to]];
    const lag = r.lagMs[m] - (a === b ? 0 : clockMs(b, t) - clockMs(a, t));
    const key = Math.min(from, to) * recorderOfTrack.length + Math.max(from, to);
    let sides = out.get(key);
    if (!sides) out.set(key, sides = { there: [], back: [] });
    const side = from < to ? sides.there : sides.back;
    // A string of calls from one place counts once.
    if (!side.slice(-8).some((e) => t - e[0] < 3 && Math.abs(e[1] - lag) < 0.05)) side.push([t, lag]);
  }
  return out;
}

/** Half difference that most exchanges of a pair agree on. */
function votePair({ there, back }: Sides): { differenceMs: number; votes: number } | null {
  const bins = Math.round((2 * SPAN_MS) / BIN_MS);
  const votes = new Float64Array(bins);
  // Each direction seeks its partners in the other, so that it does not matter which track stands first.
  for (const [own, other, sign] of [[there, back, 1], [back, there, -1]] as const) {
    let first = 0;
    for (const [t, f] of own) {
      while (first < other.length && other[first][0] < t - NEAR_SEC) first++;
      const near: [number, number][] = [];
      for (let k = first; k < other.length && other[k][0] <= t + NEAR_SEC; k++) near.push([Math.abs(other[k][0] - t), other[k][1]]);
      near.sort((p, q) => p[0] - q[0]);
      for (const [, b] of near.slice(0, MOST_PARTNERS)) {
        const at = Math.floor((sign * (f - b) / 2 + SPAN_MS) / BIN_MS);
        if ((f + b) / 2 > 0 && at >= 0 && at < bins) votes[at] += 0.5 / MOST_PARTNERS;
      }
    }
  }
  const around = (k: number): number => { let s = 0; for (let d = -3; d <= 3; d++) s += votes[k + d] ?? 0; return s; };
  let top = 0;
  for (let k = 1; k < bins; k++) if (around(k) > around(top)) top = k;
  let rival = 0;
  for (let k = 0; k < bins; k++) if (Math.abs(k - top) > 7) rival = Math.max(rival, around(k));
  const mass = around(top);
  if (mass < LEAST_VOTES || mass < 1.5 * rival) return null;
  let sum = 0;
  for (let d = -3; d <= 3; d++) sum += (votes[top + d] ?? 0) * (top + d);
  return { differenceMs: (sum / mass + 0.5) * BIN_MS - SPAN_MS, votes: mass };
}
