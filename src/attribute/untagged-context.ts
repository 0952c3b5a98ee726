import type { Candidate } from '../evidence/candidate.js';
import { exp, log2 } from '../numeric/elementary.js';
import { CALL_FEATURES } from '../model/call-features.js';
import { CONTEXT_FEATURES } from '../model/context-features.js';
import type { Describe } from '../model/doubtful.js';
import { createFeatureRows } from '../model/feature-rows.js';
import type { GainFit } from '../model/fit-gains.js';
import { multiplySpectra } from '../model/spectra-likeness.js';
import { compareVoices, UNKNOWN_VOICE, type Voices } from '../model/voices.js';
import { measureStrength } from './group-leftovers.js';
import { overlapShare } from './suppress.js';
import { EVENT_FEATURES, type LeftoverCut } from './untagged-features.js';

/**
 * Second look at leftover sounds: birds without a tag call more than once, often from one place. All features of a candidate and its event, what the first look said
 * of this cut, of other cuts of the same sound and of the whole recording, and how much this sound resembles those that the first look was sure of.
 */
export const UNTAGGED_AGAIN_FEATURES = [
  ...CONTEXT_FEATURES, ...EVENT_FEATURES, 'acceptedVoice', 'untaggedLogOdds', 'otherCutLogOdds', 'surelyUntagged', 'untaggedNearby', 'lagToUntaggedMs', 'leadToUntaggedDb', 'likeUntagged', 'aboveUntaggedDb',
  'untaggedVoice', 'alikeCount', 'alikeLogOdds',
] as const;

const CLEAR_Z = 6;
const REACH_SEC = 150;
const SURE_LOG_ODDS = 0;
const POSSIBLE_LOG_ODDS = -3;
/** From this likeness on two sounds may be of one voice. */
const ALIKE = 0.4;
const MOST_NEAR = 24;
/** What two sounds differ by at most where they can be compared, and what is stated where they cannot. */
const FARTHEST_MS = 1;
const FARTHEST_DB = 15;

/** What the first look made of leftover sounds. */
export interface FirstLook {
  cuts: readonly LeftoverCut[];
  rows: readonly Float64Array[];
  logOdds: ArrayLike<number>;
}

/**
 * Features of cuts for the second look, in the order of `asked`.
 * @param first cuts in order of time @param asked indices of cuts @param accepted candidates given to tagged birds, in time order
 * @param describe writes the features of a candidate (see prepareContextFeatures)
 */
export function computeUntaggedContext(
  candidates: readonly Candidate[], first: FirstLook, asked: readonly number[], accepted: readonly number[], gains: GainFit, voices: Voices, describe: Describe,
): readonly Float64Array[] {
  const { cuts, logOdds } = first;
  const rows = createFeatureRows(asked.length, UNTAGGED_AGAIN_FEATURES.length);
  const sure = collectSure(candidates, cuts, logOdds, SURE_LOG_ODDS), possible = collectSure(candidates, cuts, logOdds, POSSIBLE_LOG_ODDS);
  let expected = 0;
  for (const k of sure) expected += 1 / (1 + Math.max(0, 2 - logOdds[k]));
  const g = gains.gainDb;
  asked.forEach((k, row) => {
    const { candidate, event } = cuts[k], c = candidates[candidate];
    let other = -8;
    for (let m = k - 1; m >= 0 && candidates[cuts[m].candidate].onsetSec > c.onsetSec - 2; m--) if (cuts[m].event === event) other = Math.max(other, logOdds[m]);
    for (let m = k + 1; m < cuts.length && candidates[cuts[m].candidate].onsetSec < c.offsetSec; m++) if (cuts[m].event === event) other = Math.max(other, logOdds[m]);
    let count = 0; let lag = FARTHEST_MS; let lead = FARTHEST_DB; let like = 0; let voice = UNKNOWN_VOICE; let above = 0; let aboveCount = 0;
    for (const m of nearestInTime(candidates, cuts, sure, c.onsetSec)) {
      const o = candidates[cuts[m].candidate];
      if (cuts[m].event === event || overlapShare(c, o) > 0) continue;
      count++;
      const far = compareArrival(c, o);
      if (far.lagMs < lag) { lag = far.lagMs; lead = far.leadDb; }
      like = Math.max(like, multiplySpectra(c.bands, o.bands));
      voice = Math.max(voice, compareVoices(voices, candidate, cuts[m].candidate));
      above += measureStrength(c, g) - measureStrength(o, g);
      aboveCount++;
    }
    const alike = logOdds[k] < POSSIBLE_LOG_ODDS ? { count: 0, logOdds: POSSIBLE_LOG_ODDS } : findAlike(candidates, cuts, possible, logOdds, voices, k);
    describe(candidate, rows[row]);
    rows[row].set(first.rows[k].subarray(CALL_FEATURES.length), CONTEXT_FEATURES.length);
    rows[row].set([hearAccepted(candidates, voices, accepted, candidate), logOdds[k], other, log2(1 + expected), log2(1 + count), lag, lead, like, aboveCount ? above / aboveCount : 0, voice, log2(1 + alike.count), alike.logOdds], CONTEXT_FEATURES.length + EVENT_FEATURES.length);
  });
  return rows;
}

/** Accepted calls that ended less than this before may still sound. */
const SHORTLY_SEC = 0.5;
const LONGEST_SEC = 2;

/** How alike the most similar accepted call is that sounds or has just ended. */
function hearAccepted(candidates: readonly Candidate[], voices: Voices, accepted: readonly number[], n: number): number {
  const c = candidates[n];
  let best = UNKNOWN_VOICE;
  for (let m = findFirst(accepted.length, (k) => candidates[accepted[k]].onsetSec, c.onsetSec - LONGEST_SEC); m < accepted.length; m++) {
    const a = candidates[accepted[m]];
    if (a.onsetSec > c.offsetSec) break;
    if (c.onsetSec - a.offsetSec < SHORTLY_SEC) best = Math.max(best, compareVoices(voices, n, accepted[m]));
  }
  return best;
}

/** First of `count` rising values that is not less than `v`. */
function findFirst(count: number, valueOf: (k: number) => number, v: number): number {
  let lo = 0;
  let hi = count;
  while (lo < hi) {
    const mid = (lo + hi) >> 1;
    if (valueOf(mid) < v) lo = mid + 1; else hi = mid;
  }
  return lo;
}

/** Cuts of at least these log-odds, the surest of each event, in order of time. */
function collectSure(candidates: readonly Candidate[], cuts: readonly LeftoverCut[], logOdds: ArrayLike<number>, least: number): number[] {
  const best = new Map<number, number>();
  cuts.forEach(({ event }, k) => {
    if (logOdds[k] < least) return;
    const now = best.get(event);
    if (now === undefined || logOdds[k] > logOdds[now]) best.set(event, k);
  });
  return [...best.values()].sort((a, b) => candidates[cuts[a].candidate].onsetSec - candidates[cuts[b].candidate].onsetSec || a - b);
}

/**
 * Sounds of the same voice that may be calls without a tag, none of them sure: several that are alike bear each other out. How many are expected to be
 * calls, each by its likeness, and the mean log-odds by likeness.
 */
function findAlike(
  candidates: readonly Candidate[], cuts: readonly LeftoverCut[], possible: readonly number[], logOdds: ArrayLike<number>, voices: Voices, k: number,
): { count: number; logOdds: number } {
  const { candidate, event } = cuts[k];
  const c = candidates[candidate];
  let count = 0; let odds = 0; let weights = 0;
  for (const m of nearestInTime(candidates, cuts, possible, c.onsetSec)) {
    if (cuts[m].event === event || overlapShare(c, candidates[cuts[m].candidate]) > 0) continue;
    const weight = Math.max(0, (compareVoices(voices, candidate, cuts[m].candidate) - ALIKE) / (1 - ALIKE));
    count += weight / (1 + exp(-logOdds[m]));
    odds += weight * logOdds[m];
    weights += weight;
  }
  return { count, logOdds: weights > 0 ? odds / weights : POSSIBLE_LOG_ODDS };
}

function nearestInTime(candidates: readonly Candidate[], cuts: readonly LeftoverCut[], sure: readonly number[], tSec: number): readonly number[] {
  const lo = findFirst(sure.length, (k) => candidates[cuts[sure[k]].candidate].onsetSec, tSec);
  return sure.slice(Math.max(0, lo - MOST_NEAR / 2), lo + MOST_NEAR / 2).filter((m) => Math.abs(candidates[cuts[m].candidate].onsetSec - tSec) < REACH_SEC);
}

/** How differently two sounds reached the microphones that surely heard both: lags and levels, less what all have in common. */
function compareArrival(a: Candidate, b: Candidate): { lagMs: number; leadDb: number } {
  const lags: number[] = [];
  const levels: number[] = [];
  for (let j = 0; j < a.lagSec.length; j++) {
    const isHeard = (c: Candidate): boolean => (j === c.track || c.agreementZ[j] >= CLEAR_Z) && c.lostShare[j] < 0.3;
    if (!isHeard(a) || !isHeard(b)) continue;
    lags.push(((j === a.track ? 0 : a.lagSec[j]) - (j === b.track ? 0 : b.lagSec[j])) * 1e3);
    levels.push(a.levelDb[j] - b.levelDb[j]);
  }
  if (lags.length < 3) return { lagMs: FARTHEST_MS, leadDb: FARTHEST_DB };
  return { lagMs: Math.min(FARTHEST_MS, scatter(lags)), leadDb: Math.min(FARTHEST_DB, scatter(levels)) };
}

/** Root mean square about the median. */
function scatter(v: readonly number[]): number {
  const sorted = [...v].sort((x, y) => x - y);
  const middle = sorted[sorted.length >> 1];
  let sum = 0;
  for (const x of v) sum += (x - middle) ** 2;
  return Math.sqrt(sum / v.length);
}
