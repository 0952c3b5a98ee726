import type { Candidate } from '../evidence/candidate.js';
import { CONTACT_SEC } from '../evidence/contact.js';
import { log10, pow10 } from '../numeric/elementary.js';
import { createFeatureRows, writeFeatures } from './feature-rows.js';
import { readLeadCurve, type GainFit } from './fit-gains.js';

/** What the decision about one candidate rests on, by name and in this order. No absolute frequency enters: species differ. */
export const CALL_FEATURES = [
  'peakDb', 'ownedShare', 'leadDb', 'leastLeadDb', 'secondLeadDb', 'heardShare', 'bestZ', 'bestAgreement', 'lagOfBestMs', 'earliestLagMs', 'earliestZ',
  'laterZ', 'earlierZ', 'rangeM', 'leadOverCurveDb', 'expectedSnrDb', 'bestOtherSnrDb', 'entropy', 'crestDb', 'flatness', 'steadiness', 'highRiseDb',
  'timeEntropy', 'attackDb', 'durationMs', 'relativeBandwidth', 'ownedBinsLog', 'zeroLag', 'tiltGainDb', 'lostShare', 'lostTracks', 'rivalDb', 'explainedDb',
  'rivalCount', 'rivalOnsetMs', 'sinceLouderMs', 'louderByDb', 'sameTrackDb', 'weightedLagMs', 'fillDb', 'overPedestal',
  'contactLagMs', 'contactLeadDb', 'contactTiltDb', 'contactAgreement', 'twin', 'harmonicity',
  'heldTones', 'fadeDb', 'startLikeness', 'startDb', 'beforeLikeness', 'beforeDb',
] as const;

export type CallFeatures = Float64Array;

const SPEED_MPS = 343;
const CLEAR_Z = 6;

/** Features of every candidate (sorted by onset), each with what its neighbours in time say about it. */
export function computeCallFeatures(candidates: readonly Candidate[], gains: GainFit): CallFeatures[] {
  const g = gains.gainDb;
  const strength = candidates.map((c) => c.levelDb[c.track] - g[c.track] + 10 * log10(c.ownedBins));
  const rows = createFeatureRows(candidates.length, CALL_FEATURES.length);
  candidates.forEach((c, n) => {
    const own = describeOwn(c, gains);
    const around = describeAround(candidates, strength, n, gains);
    writeFeatures(rows[n], own.head, [...around.head, own.weightedLagMs, own.fillDb, c.overPedestal, ...describeContact(c, g), c.twin, c.harmonicity,
      c.heldTones, c.fadeDb, c.startLikeness, c.startDb, c.beforeLikeness, c.beforeDb]);
  });
  return rows;
}

function describeOwn(c: Candidate, gains: GainFit): { head: number[]; weightedLagMs: number; fillDb: number } {
  const g = gains.gainDb;
  const i = c.track;
  const n = c.levelDb.length;
  const level = c.levelDb[i] - g[i];
  const leads: number[] = [];
  let heard = 0; let usable = 0; let bestZ = 0; let best = -1; let earliest = Infinity; let earliestZ = 0;
  let laterZ = 0; let earlierZ = 0; let expected = -30; let bestSnr = -30; let zero = 0; let lostTracks = 0;
  let weighted = 0; let weights = 0;
  const usualLead = readLeadCurve(gains, 1e-3);
  for (let j = 0; j < n; j++) {
    if (j === i) continue;
    if (c.lostShare[j] > 0.3) { lostTracks++; continue; }
    usable++;
    leads.push(level - (c.levelDb[j] - g[j]));
    const z = c.agreementZ[j];
    const lagMs = c.lagSec[j] * 1e3;
    expected = Math.max(expected, level - (c.floorDb[j] - g[j]) - usualLead);
    bestSnr = Math.max(bestSnr, c.levelDb[j] - c.floorDb[j]);
    zero = Math.max(zero, c.levelDb[j] - g[j] > level + 6 ? c.zeroLag[j] : 0);
    if (z > bestZ) { bestZ = z; best = j; }
    if (lagMs > 0.02) laterZ = Math.max(laterZ, z);
    if (lagMs < -0.02) earlierZ = Math.max(earlierZ, z);
    if (z < CLEAR_Z) continue;
    heard++;
    weighted += (z - CLEAR_Z + 1) * Math.max(-3, Math.min(3, lagMs));
    weights += z - CLEAR_Z + 1;
    if (lagMs < earliest) { earliest = lagMs; earliestZ = z; }
  }
  leads.sort((a, b) => a - b);
  let range = 1; let over = 0; let tilt = 0;
  if (best >= 0 && bestZ >= CLEAR_Z) {
    const lead = level - (c.levelDb[best] - g[best]);
    const ratio = pow10(lead / 20) - 1;
    range = ratio > 0.02 ? (c.lagSec[best] * SPEED_MPS) / ratio : 2;
    over = lead - (c.lagSec[best] > 0 ? readLeadCurve(gains, c.lagSec[best]) : readLeadCurve(gains, 0));
    if (c.tiltDb[i] !== 0 && c.tiltDb[best] !== 0) tilt = c.tiltDb[i] - c.tiltDb[best];
  }
  return {
    head: [
      c.peakDb, c.ownedShare, c.leadDb, leads[0] ?? 30, leads[1] ?? leads[0] ?? 30, usable ? heard / usable : 0, bestZ, best >= 0 ? c.agreement[best] : 0,
      best >= 0 && bestZ >= CLEAR_Z ? clamp(c.lagSec[best] * 1e3, -4, 4) : 0, heard ? clamp(earliest, -4, 4) : 0, earliestZ,
      laterZ, earlierZ, clamp(range, -0.5, 2), clamp(over, -30, 30), expected, bestSnr, c.entropy, c.crestDb, c.flatness, c.steadiness, c.highRiseDb,
      c.timeEntropy, c.attackDb, (c.offsetSec - c.onsetSec) * 1e3, c.bandwidthHz / Math.max(1, c.centroidHz), log10(c.ownedBins), zero, tilt, c.lostShare[i], lostTracks,
    ],
    weightedLagMs: weights > 0 ? weighted / weights : 0,
    fillDb: 10 * log10(Math.max(1e-3, c.ownedShare)) + c.peakDb,
  };
}

/** The track that hears the sound next to nearest, if birds in body contact may be told apart there: its lag, how far it is led, by how much the own low end is lifted. */
function describeContact(c: Candidate, g: ArrayLike<number>): number[] {
  const level = c.levelDb[c.track] - g[c.track];
  let best = -1; let least = Infinity;
  for (let j = 0; j < c.levelDb.length; j++) {
    if (j === c.track || c.agreementZ[j] < CLEAR_Z || c.lostShare[j] > 0.3 || Math.abs(c.lagSec[j]) > CONTACT_SEC) continue;
    const lead = level - (c.levelDb[j] - g[j]);
    if (lead < least) { least = lead; best = j; }
  }
  if (best < 0) return [CONTACT_SEC * 1e3, 30, 0, 0];
  const tilt = c.tiltDb[c.track] !== 0 && c.tiltDb[best] !== 0 ? c.tiltDb[c.track] - c.tiltDb[best] : 0;
  return [c.lagSec[best] * 1e3, clamp(least, -30, 30), tilt, c.agreement[best]];
}

function describeAround(candidates: readonly Candidate[], strength: readonly number[], n: number, gains: GainFit): { head: number[] } {
  const c = candidates[n];
  let rival = -40; let rivalIndex = -1; let explained = -40; let count = 0; let sinceLouder = 500; let louderBy = -40; let sameTrack = -40;
  for (let m = lowerIndex(candidates, c.onsetSec - 2); m < candidates.length; m++) {
    const o = candidates[m];
    if (o.onsetSec > c.offsetSec + 0.05) break;
    if (m === n || o.shared || o.twin) continue;
    const difference = strength[m] - strength[n];
    const overlap = Math.min(c.offsetSec, o.offsetSec) - Math.max(c.onsetSec, o.onsetSec);
    if (o.track === c.track) {
      if (overlap > -0.06) sameTrack = Math.max(sameTrack, difference);
      if (overlap > -0.06) continue;
    }
    if (overlap > 0) {
      count++;
      if (difference > rival) { rival = difference; rivalIndex = m; }
      // What the other candidate should leave on this track: its level minus the lead for its own measured lag.
      const lag = o.agreementZ[c.track] > CLEAR_Z ? Math.max(0, o.lagSec[c.track]) : 1e-3;
      explained = Math.max(explained, difference - readLeadCurve(gains, lag));
    } else if (o.offsetSec <= c.onsetSec && difference > -3) {
      const since = (c.onsetSec - o.offsetSec) * 1e3;
      if (since < sinceLouder) { sinceLouder = since; louderBy = difference; }
    }
  }
  const rivalOnset = rivalIndex >= 0 ? clamp((c.onsetSec - candidates[rivalIndex].onsetSec) * 1e3, -200, 200) : 0;
  return { head: [rival, explained, count, rivalOnset, sinceLouder, louderBy, sameTrack] };
}

function lowerIndex(candidates: readonly Candidate[], tSec: number): number {
  let lo = 0;
  let hi = candidates.length;
  while (lo < hi) {
    const mid = (lo + hi) >> 1;
    if (candidates[mid].onsetSec < tSec) lo = mid + 1; else hi = mid;
  }
  return lo;
}

function clamp(v: number, lo: number, hi: number): number {
  return Math.min(hi, Math.max(lo, v));
}
