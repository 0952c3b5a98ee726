import type { Candidate } from '../evidence/candidate.js';
import { intersectionOverUnion } from '../numeric/intervals.js';
import type { GainFit } from './fit-gains.js';
import { CLEAR_Z } from './templates.js';

/**
 * One sound may stand as a candidate on several tracks, each with some of its bins: birds side by side hear each other hardly quieter. Such
 * candidates begin and end together, and they arrived from one place: seen from either track, all lags agree. Two calls that merely overlap differ
 * in both. Per candidate: the surest other track's candidate of the same sound, and the surest of another sound at the same time.
 */
export const SAME_SOUND_FEATURES = [
  'sameLogOdds', 'sameIou', 'sameOnsetMs', 'sameOffsetMs', 'sameLagMs', 'sameLagsMs', 'sameLeadDb', 'sameLeadBackDb', 'sameStrengthDb', 'sameLikeness', 'otherSoundLogOdds',
] as const;

const LEAST_IOU = 0.5;
/** Where lags cannot be compared, times must agree this well. */
const LEAST_IOU_ALONE = 0.7;
/** Lags of one sound agree to this, ms. Of two birds 5 cm apart that call at once each is heard first by its own track: their lags differ by up to 0.3 ms. */
const MOST_LAGS_MS = 0.06;
/** Where lags agree this well two mouths are hardly possible. Between 0.015 and 0.03 ms nothing changed on simulated rooms. */
const SURELY_ONE_MS = 0.03;
const UNKNOWN_LAGS_MS = 0.25;
const LEAST_LOG_ODDS = -8;
const LEAST_OVERLAP = 0.3;
const LONGEST_SEC = 2;

/** Root mean square by which the lags of two candidates differ, both seen from the second one's track, ms; NaN where no track can be compared. */
export function compareLags(a: Candidate, b: Candidate): number {
  if (a.agreementZ[b.track] < CLEAR_Z) return NaN;
  const origin = a.lagSec[b.track];
  let square = 0; let common = 0;
  for (let k = 0; k < a.lagSec.length; k++) {
    if (k === b.track || b.agreementZ[k] < CLEAR_Z) continue;
    if (k !== a.track && a.agreementZ[k] < CLEAR_Z) continue;
    const d = ((k === a.track ? 0 : a.lagSec[k]) - origin - b.lagSec[k]) * 1e3;
    square += Math.min(0.25, d * d);
    common++;
  }
  return common === 0 ? NaN : Math.sqrt(square / common);
}

/** Whether candidates of two tracks are one sound. */
export function isSameSound(a: Candidate, b: Candidate): boolean {
  if (a.track === b.track) return false;
  const iou = intersectionOverUnion(a, b);
  if (iou < LEAST_IOU) return false;
  const lags = compareLags(a, b);
  return Number.isNaN(lags) ? iou > LEAST_IOU_ALONE : lags < MOST_LAGS_MS;
}

/** Whether candidates of two tracks are one sound beyond doubt, so that only one of them can be a wearer's call. */
export function isSurelyOne(a: Candidate, b: Candidate): boolean {
  return a.track !== b.track && intersectionOverUnion(a, b) >= LEAST_IOU && compareLags(a, b) < SURELY_ONE_MS;
}

/**
 * @param strength loudness of every candidate without the receiver's gain, dB
 * @param ownLikeness likeness of a candidate to sure calls of its own bird
 * @returns gives the row of SAME_SOUND_FEATURES of candidate n (sorted by onset)
 */
export function prepareSameSoundFeatures(
  candidates: readonly Candidate[], logOdds: ArrayLike<number>, strength: readonly number[], ownLikeness: (n: number) => number, gains: GainFit,
): (n: number) => number[] {
  return (n) => {
    const c = candidates[n];
    let best = -1; let same = LEAST_LOG_ODDS; let other = LEAST_LOG_ODDS;
    const look = (m: number): void => {
      const o = candidates[m];
      if (o.track === c.track || o.shared || logOdds[m] <= Math.min(same, other)) return;
      const both = Math.min(c.offsetSec, o.offsetSec) - Math.max(c.onsetSec, o.onsetSec);
      if (both <= 0) return;
      if (isSameSound(c, o)) { if (logOdds[m] > same) { same = logOdds[m]; best = m; } }
      else if (both > LEAST_OVERLAP * Math.min(c.offsetSec - c.onsetSec, o.offsetSec - o.onsetSec)) other = Math.max(other, logOdds[m]);
    };
    for (let m = n - 1; m >= 0 && candidates[m].onsetSec > c.onsetSec - LONGEST_SEC; m--) look(m);
    for (let m = n + 1; m < candidates.length && candidates[m].onsetSec < c.offsetSec; m++) look(m);
    if (best < 0) return [LEAST_LOG_ODDS, 0, 0, 0, 0, 0.5, 30, 30, -40, 0, other];
    return [...describePair(c, candidates[best], same, gains.gainDb), clamp(strength[best] - strength[n], 40), ownLikeness(n) - ownLikeness(best), other];
  };
}

function describePair(a: Candidate, b: Candidate, logOdds: number, g: ArrayLike<number>): number[] {
  const lags = compareLags(a, b);
  const lead = (c: Candidate, j: number): number => clamp(c.levelDb[c.track] - g[c.track] - (c.levelDb[j] - g[j]), 30);
  return [
    logOdds, intersectionOverUnion(a, b), clamp((a.onsetSec - b.onsetSec) * 1e3, 20), clamp((a.offsetSec - b.offsetSec) * 1e3, 20),
    a.agreementZ[b.track] >= CLEAR_Z ? clamp(a.lagSec[b.track] * 1e3, 2) : 0, Number.isNaN(lags) ? UNKNOWN_LAGS_MS : lags, lead(a, b.track), lead(b, a.track),
  ];
}

function clamp(v: number, most: number): number {
  return Math.max(-most, Math.min(most, v));
}
