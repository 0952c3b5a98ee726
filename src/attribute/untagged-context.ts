import type { Candidate } from '../evidence/candidate.js';
import { exp, log2 } from '../numeric/elementary.js';
import { createFeatureRows, writeFeatures } from '../model/feature-rows.js';
import type { GainFit } from '../model/fit-gains.js';
import { multiplySpectra } from '../model/spectra-likeness.js';
import { compareVoices, readVoices, UNKNOWN_VOICE, type Voices } from '../model/voices.js';
import { measureStrength } from './group-leftovers.js';
import { overlapShare } from './suppress.js';
import { UNTAGGED_FEATURES, type LeftoverCut } from './untagged-features.js';

/**
 * Second look at leftover sounds: birds without a tag call more than once, often from one place. The first features, what the first look said
 * of this cut, of other cuts of the same sound and of the whole recording, and how much this sound resembles those that the first look was sure of.
 */
export const UNTAGGED_AGAIN_FEATURES = [
  ...UNTAGGED_FEATURES, 'untaggedLogOdds', 'otherCutLogOdds', 'surelyUntagged', 'untaggedNearby', 'lagToUntaggedMs', 'leadToUntaggedDb', 'likeUntagged', 'aboveUntaggedDb',
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

/** @param logOdds of the first look by cut; cuts in order of time @param rows where they are written: may be those of the first look, if they are long enough */
export function computeUntaggedContext(
  candidates: readonly Candidate[], cuts: readonly LeftoverCut[], first: readonly Float64Array[], logOdds: ArrayLike<number>, gains: GainFit,
  voices: Voices = readVoices(candidates), rows: readonly Float64Array[] = createFeatureRows(cuts.length, UNTAGGED_AGAIN_FEATURES.length),
): readonly Float64Array[] {
  const sure = collectSure(candidates, cuts, logOdds, SURE_LOG_ODDS), possible = collectSure(candidates, cuts, logOdds, POSSIBLE_LOG_ODDS);
  let expected = 0;
  for (const k of sure) expected += 1 / (1 + Math.max(0, 2 - logOdds[k]));
  const g = gains.gainDb;
  cuts.forEach(({ candidate, event }, k) => {
    const c = candidates[candidate];
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
    writeFeatures(rows[k], first[k].subarray(0, UNTAGGED_FEATURES.length), [logOdds[k], other, log2(1 + expected), log2(1 + count), lag, lead, like, aboveCount ? above / aboveCount : 0, voice, log2(1 + alike.count), alike.logOdds]);
  });
  return rows;
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
  let lo = 0;
  let hi = sure.length;
  while (lo < hi) {
    const mid = (lo + hi) >> 1;
    if (candidates[cuts[sure[mid]].candidate].onsetSec < tSec) lo = mid + 1; else hi = mid;
  }
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
