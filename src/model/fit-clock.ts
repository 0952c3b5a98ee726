import type { Candidate } from '../evidence/candidate.js';
import { readOffset, type ClockModel, type RecorderClock } from './clock.js';
import { solveRobust, type Observation } from './solve.js';

export interface ClockFitInput {
  candidates: readonly Candidate[];
  /** Recorder of every track. */
  recorderOfTrack: readonly number[];
  /** The clock that the candidates were extracted with: their lags are relative to it. */
  coarse: ClockModel;
  durationSec: number;
  /** Spacing of the knots of the correction, seconds. */
  knotSec?: number;
}

const PLACE_SEC = 45;

/**
 * Refines the clocks from the lags of single calls, both directions together: a call of a bird on the reference is heard on the other
 * recorder after distance / c + offset, a call in the other direction after distance / c - offset, so the distance cancels (two-way time
 * transfer, as in RFC 5905 section 8 and ITU-R TF.1153). Unknown are the offset at knots in time (linear between, smoothed by a prior on its bends) and one
 * distance per pair of tracks and stretch of time, all in one robust regression.
 */
export function fitClocks(input: ClockFitInput): ClockModel {
  return input.coarse.map((coarse, recorder) => (recorder === 0 ? coarse : fitOne(input, coarse, recorder)));
}

interface Cross { tSec: number; pair: string; sign: number; lagSec: number; weight: number; owner: number }

function fitOne(input: ClockFitInput, coarse: RecorderClock, recorder: number): RecorderClock {
  const readings = collectCross(input, recorder);
  const knots = placeKnots(input.durationSec, input.knotSec ?? 30);
  if (readings.length < 4) return coarse;
  // Milliseconds throughout, so that the scales are near one.
  const start = startFrom(readings);
  const places = new Map<string, number>();
  const prior: [number, number][] = knots.map(() => [start, 5]);
  const observations: Observation[] = [];
  for (const r of readings) {
    const key = `${r.pair} ${Math.floor(r.tSec / PLACE_SEC)}`;
    let unknown = places.get(key);
    if (unknown === undefined) {
      unknown = prior.length;
      places.set(key, unknown);
      prior.push([1.5, 2]);
    }
    const [k, share] = placeOn(knots, r.tSec);
    observations.push({
      unknowns: [k, k + 1, unknown], coefficients: [r.sign * (1 - share), r.sign * share, 1], value: r.lagSec * 1e3, weight: r.weight,
    });
  }
  // A clock bends slowly: second differences of the correction per knot spacing stay within a few hundredths of a millisecond.
  for (let k = 1; k + 1 < knots.length; k++) observations.push({ unknowns: [k - 1, k, k + 1], coefficients: [1, -2, 1], value: 0, weight: 1 });
  const { x, scale } = solveRobust(observations, prior, 0.01, 25);
  const perKnot = Math.max(1, readings.length / knots.length);
  return {
    knotSec: knots,
    offsetSec: knots.map((t, k) => readOffset(coarse, t) + x[k] / 1e3),
    uncertaintySec: knots.map(() => scale / 1e3 / Math.sqrt(perKnot)),
  };
}

function collectCross(input: ClockFitInput, recorder: number): Cross[] {
  const { candidates, recorderOfTrack } = input;
  const out: Cross[] = [];
  for (const c of candidates) {
    if (!isClearOwn(c, recorderOfTrack)) continue;
    const own = recorderOfTrack[c.track];
    if (own !== 0 && own !== recorder) continue;
    for (let j = 0; j < c.lagSec.length; j++) {
      const other = recorderOfTrack[j];
      if (other === own || (other !== 0 && other !== recorder) || c.agreementZ[j] < 6) continue;
      // Towards the other recorder its offset adds to the lag; in the opposite direction it is taken away.
      const sign = own === 0 ? 1 : -1;
      const pair = own === 0 ? `${c.track} ${j}` : `${j} ${c.track}`;
      out.push({ tSec: c.onsetSec, pair, sign, lagSec: c.lagSec[j], weight: Math.min(4, c.agreementZ[j] / 10), owner: c.track });
    }
  }
  return out;
}

function isClearOwn(c: Candidate, recorderOfTrack: readonly number[]): boolean {
  if (c.shared || c.ownedShare < 0.6 || c.peakDb < 12 || c.lostShare[c.track] > 0 || c.entropy > 0.9) return false;
  for (let j = 0; j < c.lagSec.length; j++) {
    if (j === c.track || c.agreementZ[j] < 7 || recorderOfTrack[j] !== recorderOfTrack[c.track]) continue;
    if (c.lagSec[j] < 0) return false;
  }
  return true;
}

/** Start value of the correction: half the difference of the medians of both directions, ms. */
function startFrom(readings: readonly Cross[]): number {
  const side = (sign: number): number => {
    const v = readings.filter((r) => r.sign === sign).map((r) => r.lagSec * 1e3).sort((a, b) => a - b);
    return v.length ? v[v.length >> 1] : NaN;
  };
  const a = side(1);
  const b = side(-1);
  if (Number.isNaN(a)) return 1.5 - b;
  return Number.isNaN(b) ? a - 1.5 : (a - b) / 2;
}

function placeKnots(durationSec: number, spacingSec: number): number[] {
  const n = Math.max(1, Math.round(durationSec / spacingSec));
  return Array.from({ length: n + 1 }, (_, k) => (k * durationSec) / n);
}

function placeOn(knots: readonly number[], t: number): [number, number] {
  const step = knots[1] - knots[0];
  const k = Math.min(knots.length - 2, Math.max(0, Math.floor(t / step)));
  return [k, (t - knots[k]) / step];
}
