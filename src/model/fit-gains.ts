import type { Candidate } from '../evidence/candidate.js';
import { CONTACT_SEC } from '../evidence/contact.js';
import { log2 } from '../numeric/elementary.js';
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
/** Usual leads at the knots and their spread between rooms (found on simulated rooms): where the curve starts from. */
const USUAL_LEAD_DB = [7, 12, 17, 20];
const USUAL_LEAD_SD_DB = 3;
/** Spread of noise floors that the gains do not explain, dB. */
const PRIOR_DB = 4;
const ROUNDS = 3;
const CLEAR_Z = 7;
const LEAST_LAG_SEC = 2e-5;

/**
 * Receiver gains without calibration. A call of bird i is heard on track j later by the lag and quieter by
 * lead = gain_i - gain_j + h(lag): h is common to all birds (distance and room), so the gains follow from the leads of many pairs in both
 * directions by robust regression on gains and the knots of h together. The differences of noise floors serve as a weak prior.
 * @param floorDb mean noise floor per track, dB (prior)
 */
export function fitGains(candidates: readonly Candidate[], floorDb: ArrayLike<number>): GainFit {
  return fitGainsFully(candidates, floorDb).fit;
}

/** As fitGains, with the number of leads that each track took part in. */
export function fitGainsFully(candidates: readonly Candidate[], floorDb: ArrayLike<number>): { fit: GainFit; leadCounts: Uint32Array } {
  const n = floorDb.length;
  const mean = meanOf(floorDb);
  const prior: [number, number][] = [];
  for (let j = 0; j < n; j++) prior.push([floorDb[j] - mean, PRIOR_DB]);
  for (const lead of USUAL_LEAD_DB) prior.push([lead, USUAL_LEAD_SD_DB]);
  const clear = candidates.filter(isHeardLater);
  let x = Float64Array.from(prior, (p) => p[0]);
  let scaleDb = 0;
  let used: Observation[] = [];
  // A lead below zero under the gains so far means that the sound was somebody else's: such readings stay out of the next round.
  for (let round = 0; round < ROUNDS; round++) {
    const observations = clear.flatMap((c) => observeLeads(c, x, n));
    const fit = solveRobust(observations, prior, 1);
    x = fit.x as Float64Array<ArrayBuffer>;
    scaleDb = fit.scale;
    used = observations;
  }
  const gainDb = x.slice(0, n);
  const shift = meanOf(gainDb);
  for (let j = 0; j < n; j++) gainDb[j] -= shift;
  const leadCounts = new Uint32Array(n);
  for (const { unknowns: [i, j] } of used) { leadCounts[i]++; leadCounts[j]++; }
  return { fit: { gainDb, scaleDb, leadCurveDb: x.slice(n), observations: used.length }, leadCounts };
}

function observeLeads(c: Candidate, x: Float64Array, n: number): Observation[] {
  const out: Observation[] = [];
  const i = c.track;
  for (let j = 0; j < n; j++) {
    if (j === i || c.agreementZ[j] < CLEAR_Z || c.levelDb[j] < c.floorDb[j] - 3) continue;
    const value = c.levelDb[i] - c.levelDb[j];
    // From far away a lead below zero means another caller; between birds in contact the lag decides, gains may still be far off.
    if (value < x[i] - x[j] && c.lagSec[j] > CONTACT_SEC) continue;
    const [k, share] = placeOnKnots(c.lagSec[j]);
    out.push({
      unknowns: [i, j, n + k, n + Math.min(k + 1, LEAD_KNOTS_SEC.length - 1)], coefficients: [1, -1, 1 - share, share], value, weight: 1,
    });
  }
  return out;
}

/** Expected lead for a lag, dB. */
export function readLeadCurve(fit: GainFit, lagSec: number): number {
  const [k, share] = placeOnKnots(lagSec);
  const next = Math.min(k + 1, LEAD_KNOTS_SEC.length - 1);
  return fit.leadCurveDb[k] * (1 - share) + fit.leadCurveDb[next] * share;
}

/** A call that leads on its own track and that every track which surely hears it hears later. */
function isHeardLater(c: Candidate): boolean {
  if (c.shared || c.ownedShare < 0.6 || c.peakDb < 12 || c.lostShare[c.track] > 0 || c.entropy > 0.9) return false;
  let heard = 0;
  for (let j = 0; j < c.lagSec.length; j++) {
    if (j === c.track || c.agreementZ[j] < CLEAR_Z) continue;
    if (c.lagSec[j] < LEAST_LAG_SEC) return false;
    heard++;
  }
  return heard > 0;
}

const LOG_KNOTS = LEAD_KNOTS_SEC.map(log2);

function placeOnKnots(lagSec: number): [number, number] {
  const last = LEAD_KNOTS_SEC.length - 1;
  const x = log2(Math.min(LEAD_KNOTS_SEC[last], Math.max(LEAD_KNOTS_SEC[0], lagSec)));
  for (let k = 0; k < last; k++) if (x <= LOG_KNOTS[k + 1] || k === last - 1) return [k, (x - LOG_KNOTS[k]) / (LOG_KNOTS[k + 1] - LOG_KNOTS[k])];
  return [last, 0];
}

function meanOf(v: ArrayLike<number>): number {
  let s = 0;
  for (let k = 0; k < v.length; k++) s += v[k];
  return v.length ? s / v.length : 0;
}
