import type { Candidate } from '../evidence/candidate.js';
import { computeCallFeatures, type CallFeatures } from '../model/call-features.js';
import { CONTEXT_FEATURES, prepareContextFeatures } from '../model/context-features.js';
import { findDoubtful, scoreDoubtful, type Describe } from '../model/doubtful.js';
import type { GainFit } from '../model/fit-gains.js';
import { readVoices, type PlaceVoices, type Voices } from '../model/voices.js';
import { readProbability, scoreRows, type Forest, type ScoreRows } from '../model/forest.js';
import { groupLeftovers, type LeftoverEvent } from './group-leftovers.js';
import { joinAbutting } from './join-abutting.js';
import { collectLostClaims } from './lost-features.js';
import { acceptCandidates, isTwinOf, overlapShare, suppressRivals } from './suppress.js';
import { computeUntaggedContext } from './untagged-context.js';
import { computeUntaggedFeatures, listCuts } from './untagged-features.js';

export interface Models {
  /** Is this candidate a call of the wearer of its track? At first sight, knowing what the first look was sure of, and what the second was. */
  first: Forest;
  second: Forest;
  own: Forest;
  /** Is this leftover sound a call of a bird without a tag? At first sight, and knowing what the first look was sure of. */
  untagged: Forest;
  untaggedAgain: Forest;
  /** Is it a call of this bird, whose link was down? */
  lost: Forest;
  /** How forests are asked; the plain walk where it is not given. */
  scoreRows?: ScoreRows;
  /** Where voices are compared; in the plain loops where it is not given. */
  placeVoices?: PlaceVoices;
}

/** A call with its caller: `track` is the track of the bird, or -1 for a caller without a tag. */
export interface AttributedCall {
  caller: number;
  candidate: number;
  onsetSec: number;
  offsetSec: number;
  probability: number;
  runnerUp: number | null;
  runnerUpProbability: number;
}

export interface Attribution {
  calls: AttributedCall[];
  /** Sounds left over that are no calls. */
  leftovers: LeftoverEvent[];
  /** Calibrated probability of every candidate to be a call of its track's wearer. */
  ownProbability: Float64Array;
}

/** A caller without a tag, as a caller index. */
export const UNTAGGED = -1;

/** Rows below this probability are not written. */
const LEAST_PROBABILITY = 0.5;
/** Leftovers below this own probability may be calls of birds without a tag. */
const FREE_BELOW = 0.5;
/** Cuts below this probability to be a call are not looked at further. */
const LEAST_UNTAGGED = 0.05;

/**
 * Decides every candidate (sorted by onset): first which are calls of their track's wearer, best first where stretches compete, then what
 * is left over as calls of birds without a tag or as no calls.
 */
export function attributeCandidates(candidates: readonly Candidate[], gains: GainFit, models: Models): Attribution {
  const early = computeCallFeatures(candidates, gains);
  const score = models.scoreRows ?? scoreRows, earlyOdds = score(models.first, early.length, (n) => early[n]), voices = readVoices(candidates, models.placeVoices);
  const doubtful = findDoubtful(earlyOdds), row = new Float64Array(CONTEXT_FEATURES.length);
  const secondOdds = scoreDoubtful(models.second, prepareContextFeatures(candidates, early, earlyOdds, gains, voices), row, doubtful, earlyOdds, score);
  const describe = prepareContextFeatures(candidates, early, secondOdds, gains, voices);
  const logOdds = scoreDoubtful(models.own, describe, row, findDoubtful(secondOdds, doubtful), secondOdds, score);
  const ownProbability = logOdds.map((z, n) => (candidates[n].shared ? 0 : readProbability(models.own, z)));
  const accepted = acceptCandidates(candidates, ownProbability, LEAST_PROBABILITY);
  const events = findLeftovers(candidates, accepted, ownProbability, gains);
  const claims = weighLeftovers(candidates, early, logOdds, events, accepted, gains, models, voices, describe);
  const calls: AttributedCall[] = accepted.map((n) => ({
    caller: candidates[n].track, candidate: n, onsetSec: candidates[n].onsetSec, offsetSec: candidates[n].offsetSec,
    probability: ownProbability[n], ...findRunnerUp(candidates, ownProbability, n),
  }));
  const leftovers: LeftoverEvent[] = [];
  events.forEach((e, k) => {
    const stand = claims[k].filter((u) => u.p >= LEAST_PROBABILITY);
    if (stand.length === 0) leftovers.push(e);
    for (const { n, caller, p, secondP } of stand) {
      const c = candidates[n];
      const second = caller === UNTAGGED ? { runnerUp: c.track, runnerUpProbability: Math.min(ownProbability[n], 1 - p) } : { runnerUp: UNTAGGED, runnerUpProbability: Math.min(secondP, 1 - p) };
      calls.push({ caller, candidate: n, onsetSec: c.onsetSec, offsetSec: c.offsetSec, probability: p, ...second });
    }
  });
  return { calls: joinAbutting(calls), leftovers, ownProbability };
}

/** A cut that may be a call of a bird without a tag, or of one whose link was down; `secondP` that it is the other of these. */
interface LeftoverClaim { n: number; caller: number; p: number; secondP: number }

/** Per event the cuts that may be calls: where cuts overlap, whatever their track, the surest. */
function weighLeftovers(
  candidates: readonly Candidate[], features: readonly CallFeatures[], logOdds: ArrayLike<number>, events: readonly LeftoverEvent[], accepted: readonly number[], gains: GainFit, models: Models, voices: Voices, describe: Describe,
): LeftoverClaim[][] {
  const cuts = listCuts(candidates, events), score = models.scoreRows ?? scoreRows;
  const rows = computeUntaggedFeatures(candidates, features, logOdds, events, cuts, accepted, gains);
  const first = { cuts, rows, logOdds: [...score(models.untagged, rows.length, (k) => rows[k])] }, odds = [...first.logOdds];
  const asked = findDoubtful(first.logOdds);
  const again = computeUntaggedContext(candidates, first, asked, accepted, gains, voices, describe);
  score(models.untaggedAgain, again.length, (k) => again[k]).forEach((z, k) => { odds[asked[k]] = z; });
  const best = cuts.map(({ candidate }, k): LeftoverClaim => ({ n: candidate, caller: UNTAGGED, p: readProbability(models.untaggedAgain, odds[k]), secondP: 0 }));
  const lost = collectLostClaims(candidates, logOdds, events, cuts, odds, gains, voices), lostOdds = score(models.lost, lost.length, (k) => lost[k].features);
  lost.forEach(({ cut, track }, k) => {
    const p = readProbability(models.lost, lostOdds[k]), now = best[cut];
    if (p > now.p) best[cut] = { n: now.n, caller: track, p, secondP: now.caller === UNTAGGED ? now.p : now.secondP };
    else if (now.caller === UNTAGGED && p > now.secondP) now.secondP = p;
  });
  const claims = best.map(({ n, p }) => ({ track: 0, onsetSec: candidates[n].onsetSec, offsetSec: candidates[n].offsetSec, score: p }));
  const out: LeftoverClaim[][] = events.map(() => []);
  for (const k of suppressRivals(claims, LEAST_UNTAGGED)) out[cuts[k].event].push(best[k]);
  return out;
}

/** Groups of candidates that no accepted call of the same track covers. */
export function findLeftovers(candidates: readonly Candidate[], accepted: readonly number[], ownProbability: ArrayLike<number>, gains: GainFit): LeftoverEvent[] {
  const perTrack = new Map<number, number[]>();
  for (const n of accepted) perTrack.set(candidates[n].track, [...(perTrack.get(candidates[n].track) ?? []), n]);
  const free: number[] = [];
  const twins = accepted.filter((n) => candidates[n].twin);
  const pointer = new Map<number, number>();
  candidates.forEach((c, n) => {
    // A twin is somebody's sound anyway: its origin stands for it.
    if (ownProbability[n] >= FREE_BELOW || c.twin) return;
    // Shared sound is nobody's own: a call accepted on the same track does not cover it by overlapping in time.
    if (c.shared) { free.push(n); return; }
    if (twins.some((m) => isTwinOf(c, candidates[m]))) return;
    const list = perTrack.get(c.track) ?? [];
    let k = pointer.get(c.track) ?? 0;
    while (k < list.length && candidates[list[k]].offsetSec < c.onsetSec - 2) k++;
    pointer.set(c.track, k);
    for (let m = k; m < list.length && candidates[list[m]].onsetSec < c.offsetSec; m++) if (overlapShare(c, candidates[list[m]]) > 0.3) return;
    free.push(n);
  });
  return groupLeftovers(candidates, free, gains.gainDb);
}

/** The next most probable caller of the same sound: the best rival on another track, else a bird without a tag. */
function findRunnerUp(candidates: readonly Candidate[], p: ArrayLike<number>, n: number): { runnerUp: number | null; runnerUpProbability: number } {
  const c = candidates[n];
  let best = -1;
  for (let m = n - 1; m >= 0 && candidates[m].onsetSec > c.onsetSec - 1; m--) best = better(m);
  for (let m = n + 1; m < candidates.length && candidates[m].onsetSec < c.offsetSec; m++) best = better(m);
  function better(m: number): number {
    if (candidates[m].shared || candidates[m].track === c.track || p[m] >= 0.5 || overlapShare(c, candidates[m]) < 0.5) return best;
    return best < 0 || p[m] > p[best] ? m : best;
  }
  const rest = 1 - p[n];
  if (best < 0 || p[best] < 0.002) return { runnerUp: UNTAGGED, runnerUpProbability: rest / 2 };
  return { runnerUp: candidates[best].track, runnerUpProbability: Math.min(rest, p[best]) };
}
