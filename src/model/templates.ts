import type { Candidate } from '../evidence/candidate.js';
import type { GainFit } from './fit-gains.js';

/** A track surely hears a sound from this height of the phase correlation on, in standard deviations of unrelated noise. */
export const CLEAR_Z = 6;
const TEMPLATE_LOG_ODDS = 0.85;
const REACH_SEC = 150;
const MOST_TEMPLATES = 40;

/** How a sound that surely came from one bird arrived at all microphones. */
export interface Template {
  candidate: number;
  tSec: number;
  /** Lag after the bird's own track, ms; NaN where it was not surely heard. */
  lagMs: Float64Array;
  /** Calibrated lead of the own track, dB. */
  leadDb: Float64Array;
}

/** Templates of every track in time order, from candidates that the first look was sure of. */
export function collectTemplates(candidates: readonly Candidate[], logOdds: ArrayLike<number>, gains: GainFit): Template[][] {
  const byTrack: Template[][] = Array.from(gains.gainDb, () => []);
  candidates.forEach((c, n) => {
    if (c.shared || logOdds[n] < TEMPLATE_LOG_ODDS || c.lostShare[c.track] > 0) return;
    const list = byTrack[c.track];
    const last = list[list.length - 1];
    // Of several cuts of one sound the surer one stands.
    if (last && candidates[last.candidate].offsetSec > c.onsetSec) {
      if (logOdds[n] > logOdds[last.candidate]) list[list.length - 1] = makeTemplate(c, n, gains);
      return;
    }
    list.push(makeTemplate(c, n, gains));
  });
  return byTrack;
}

/** A candidate as a template. @param into a template that is no longer needed, whose arrays are written over */
export function makeTemplate(c: Candidate, n: number, gains: GainFit, into?: Template): Template {
  const g = gains.gainDb;
  const level = c.levelDb[c.track] - g[c.track];
  const count = c.levelDb.length;
  const lagMs = into?.lagMs ?? new Float64Array(count), leadDb = into?.leadDb ?? new Float64Array(count);
  for (let j = 0; j < count; j++) {
    lagMs[j] = j === c.track ? 0 : c.agreementZ[j] >= CLEAR_Z && c.lostShare[j] < 0.3 ? c.lagSec[j] * 1e3 : NaN;
    leadDb[j] = level - (c.levelDb[j] - g[j]);
  }
  return { candidate: n, tSec: c.onsetSec, lagMs, leadDb };
}

/** Which templates, in order of time, are the nearest within reach: [from, to). */
export function findNear(list: readonly Template[], tSec: number, most = MOST_TEMPLATES): [number, number] {
  let lo = 0;
  let hi = list.length;
  while (lo < hi) {
    const mid = (lo + hi) >> 1;
    if (list[mid].tSec < tSec) lo = mid + 1; else hi = mid;
  }
  let from = Math.max(0, lo - most / 2), to = Math.min(list.length, lo + most / 2);
  while (from < to && !(Math.abs(list[from].tSec - tSec) < REACH_SEC)) from++;
  while (to > from && !(Math.abs(list[to - 1].tSec - tSec) < REACH_SEC)) to--;
  return [from, to];
}

/** Mean low end of the own track over that of the others that hear the sound, dB: a wearer's own voice reaches its microphone through the body too. */
export function liftOfLowEnd(c: Candidate): number {
  let sum = 0; let count = 0;
  for (let j = 0; j < c.tiltDb.length; j++) {
    if (j === c.track || c.tiltDb[j] === 0 || c.agreementZ[j] < CLEAR_Z) continue;
    sum += c.tiltDb[c.track] - c.tiltDb[j];
    count++;
  }
  return count ? Math.max(-20, Math.min(20, sum / count)) : 0;
}

/** Upper median, sorting in place; 0 for an empty list. */
export function middle(v: number[]): number {
  if (v.length === 0) return 0;
  v.sort((a, b) => a - b);
  return v[v.length >> 1];
}

/** Upper fifth; 0 for an empty list. */
export function high(v: number[]): number {
  if (v.length === 0) return 0;
  v.sort((a, b) => a - b);
  return v[Math.floor(0.8 * (v.length - 1) + 0.5)];
}
