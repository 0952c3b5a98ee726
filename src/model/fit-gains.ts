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
/** Spread between wearers of how loud the own voice is at the microphone (distance of the mouth, sound through the body), dB. */
const COUPLING_SD_DB = 3;
/** Two tracks that hear a third bird within this time of each other are as far from it: their levels differ by their gains. */
const SAME_DISTANCE_SEC = 0.001;
/** Spread of noise floors that the gains do not explain, dB. */
const PRIOR_DB = 4;
const ROUNDS = 3;
const CLEAR_Z = 7;
const LEAST_LAG_SEC = 2e-5;
/** Below this level over the floor noise makes the level of a faint copy uncertain, dB. */
const CLEAR_DB = 6;
/** These readings scatter less than leads, which hold how the caller was turned. */
const THIRD_PARTY_WEIGHT = 2;

/**
 * Receiver gains without calibration. A call of bird i is heard on track j later by the lag and quieter by
 * lead = gain_i + c_i - gain_j + h(lag): h is common to all birds (distance and room), c_i is how much better than others bird i is heard by its own
 * microphone. On tracks j and k that hear it at nearly the same time its levels differ by gain_j - gain_k - h(lag_j) + h(lag_k), whatever c_i: birds in
 * body contact, whose own calls could be either's, get their gains from all the others. Robust regression on gains, c and the knots of h together;
 * the differences of noise floors serve as a weak prior.
 * @param floorDb mean noise floor per track, dB (prior)
 */
export function fitGains(candidates: readonly Candidate[], floorDb: ArrayLike<number>): GainFit {
  return fitGainsFully(candidates, floorDb).fit;
}

/** As fitGains, with the number of readings that each track took part in. */
export function fitGainsFully(candidates: readonly Candidate[], floorDb: ArrayLike<number>): { fit: GainFit; leadCounts: Uint32Array } {
  const n = floorDb.length;
  const mean = meanOf(floorDb);
  const prior: [number, number][] = [];
  for (let j = 0; j < n; j++) prior.push([floorDb[j] - mean, PRIOR_DB]);
  for (const lead of USUAL_LEAD_DB) prior.push([lead, USUAL_LEAD_SD_DB]);
  for (let j = 0; j < n; j++) prior.push([0, COUPLING_SD_DB]);
  const clear = candidates.filter(isHeardLater);
  const thirdParties = clear.flatMap((c) => observeThirdParties(c, n));
  let x = Float64Array.from(prior, (p) => p[0]);
  let scaleDb = 0;
  let used: Observation[] = [];
  // A lead below zero under the gains so far means that the sound was somebody else's: such readings stay out of the next round.
  for (let round = 0; round < ROUNDS; round++) {
    const observations = [...clear.flatMap((c) => observeLeads(c, x, n)), ...thirdParties];
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
  return { fit: { gainDb, scaleDb, leadCurveDb: x.slice(n, n + LEAD_KNOTS_SEC.length), observations: used.length }, leadCounts };
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
    const last = LEAD_KNOTS_SEC.length;
    out.push({
      unknowns: [i, j, n + k, n + Math.min(k + 1, last - 1), n + last + i], coefficients: [1, -1, 1 - share, share, 1], value, weight: 1,
    });
  }
  return out;
}

/** Differences of level between tracks that hear a call of a third bird at nearly the same time: of those next to each other in time, which connect all. */
function observeThirdParties(c: Candidate, n: number): Observation[] {
  const heard: number[] = [];
  for (let j = 0; j < n; j++) if (j !== c.track && c.agreementZ[j] >= CLEAR_Z && c.lostShare[j] <= 0 && c.levelDb[j] >= c.floorDb[j] + CLEAR_DB) heard.push(j);
  heard.sort((j, k) => c.lagSec[j] - c.lagSec[k] || j - k);
  const out: Observation[] = [];
  for (let m = 1; m < heard.length; m++) {
    const j = heard[m - 1], k = heard[m];
    if (c.lagSec[k] - c.lagSec[j] > SAME_DISTANCE_SEC) continue;
    const [a, shareA] = placeOnKnots(c.lagSec[j]), [b, shareB] = placeOnKnots(c.lagSec[k]), last = LEAD_KNOTS_SEC.length - 1;
    out.push({
      unknowns: [j, k, n + a, n + Math.min(a + 1, last), n + b, n + Math.min(b + 1, last)], coefficients: [1, -1, shareA - 1, -shareA, 1 - shareB, shareB],
      value: c.levelDb[j] - c.levelDb[k], weight: THIRD_PARTY_WEIGHT,
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
