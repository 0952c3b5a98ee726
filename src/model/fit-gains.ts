import type { Candidate } from '../evidence/candidate.js';
import { solveRobust, type Observation } from './solve.js';

/** Receiver gain of every track, dB, mean zero. */
export interface GainFit {
  gainDb: Float64Array;
  /** Robust scale of the residuals, dB. */
  scaleDb: number;
  /** Lead of the own track over a track that hears the call `lag` later: knots in log2 of the lag and their values, dB. */
  leadCurveDb: Float64Array;
  observations: number;
}

/** Knots of the lead curve: lags in seconds. */
export const LEAD_KNOTS_SEC = [0.0001, 0.0003, 0.001, 0.003];

/**
 * Receiver gains without calibration. A call of bird i is heard on track j later by the lag and quieter by
 * lead = gain_i - gain_j + h(lag): h is common to all birds (distance and room), so the gains follow from the leads of many pairs in both
 * directions by robust regression on gains and the knots of h together. The differences of noise floors serve as a weak prior.
 * @param floorDb mean noise floor per track, dB (prior, 5 dB)
 */
export function fitGains(candidates: readonly Candidate[], floorDb: ArrayLike<number>): GainFit {
  const n = floorDb.length;
  const mean = meanOf(floorDb);
  const prior: [number, number][] = [];
  for (let j = 0; j < n; j++) prior.push([floorDb[j] - mean, 5]);
  LEAD_KNOTS_SEC.forEach((_, k) => prior.push([8 + 3 * k, 8]));
  const observations: Observation[] = [];
  for (const c of candidates) {
    if (c.ownedShare < 0.6 || c.peakDb < 12 || c.lostShare[c.track] > 0 || c.entropy > 0.9) continue;
    const root = findFirstTrack(c);
    if (root < 0) continue;
    for (let j = 0; j < n; j++) {
      const lag = c.lagSec[j] - c.lagSec[root];
      const isHeard = j === c.track || c.agreementZ[j] >= CLEAR_Z;
      if (j === root || !isHeard || lag < LEAST_LAG_SEC || c.levelDb[j] < c.floorDb[j] - 3) continue;
      const [k, share] = placeOnKnots(lag);
      observations.push({
        unknowns: [root, j, n + k, n + Math.min(k + 1, LEAD_KNOTS_SEC.length - 1)],
        coefficients: [1, -1, 1 - share, share],
        value: c.levelDb[root] - c.levelDb[j],
        weight: 1,
      });
    }
  }
  const { x, scale } = solveRobust(observations, prior, 1);
  const gainDb = x.slice(0, n);
  const shift = meanOf(gainDb);
  for (let j = 0; j < n; j++) gainDb[j] -= shift;
  return { gainDb, scaleDb: scale, leadCurveDb: x.slice(n), observations: observations.length };
}

/** Expected lead for a lag, dB. */
export function readLeadCurve(fit: GainFit, lagSec: number): number {
  const [k, share] = placeOnKnots(lagSec);
  const next = Math.min(k + 1, LEAD_KNOTS_SEC.length - 1);
  return fit.leadCurveDb[k] * (1 - share) + fit.leadCurveDb[next] * share;
}

const CLEAR_Z = 7;
const LEAST_LAG_SEC = 2e-5;

/**
 * The track that heard the sound first, which need not be the one that seems to own it while the gains are unknown; -1 where that is not clear
 * (nobody else surely heard it, or two tracks heard it at once).
 */
function findFirstTrack(c: Candidate): number {
  let first = c.track;
  let heard = 0;
  for (let j = 0; j < c.lagSec.length; j++) {
    if (j === c.track || c.agreementZ[j] < CLEAR_Z) continue;
    heard++;
    if (c.lagSec[j] < c.lagSec[first]) first = j;
  }
  if (heard === 0) return -1;
  for (let j = 0; j < c.lagSec.length; j++) {
    if (j === first || (j !== c.track && c.agreementZ[j] < CLEAR_Z)) continue;
    if (c.lagSec[j] - c.lagSec[first] < LEAST_LAG_SEC) return -1;
  }
  return first;
}

function placeOnKnots(lagSec: number): [number, number] {
  const last = LEAD_KNOTS_SEC.length - 1;
  const x = Math.log2(Math.min(LEAD_KNOTS_SEC[last], Math.max(LEAD_KNOTS_SEC[0], lagSec)));
  for (let k = 0; k < last; k++) {
    const a = Math.log2(LEAD_KNOTS_SEC[k]);
    const b = Math.log2(LEAD_KNOTS_SEC[k + 1]);
    if (x <= b || k === last - 1) return [k, (x - a) / (b - a)];
  }
  return [last, 0];
}

function meanOf(v: ArrayLike<number>): number {
  let s = 0;
  for (let k = 0; k < v.length; k++) s += v[k];
  return v.length ? s / v.length : 0;
}
