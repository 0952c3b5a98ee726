import type { Candidate } from '../evidence/candidate.js';
import { log2 } from '../numeric/elementary.js';
import { gatherSounds, isInContact, type GroupSound, type GroupSounds } from './group-sounds.js';
import { weighMatching } from './group-matching.js';
import type { GainFit } from './fit-gains.js';
import { CLEAR_Z } from './templates.js';

/**
 * Wearers side by side: a beak may be as near to the neighbour's microphone as to its own, so that one sound alone does not tell. But as long as nobody
 * moves, every bird's sounds arrive by lags of their own and make a group, and groups that take turns are different birds. So the groups are matched with the
 * birds as a whole, such that the paths from beaks to own microphones are shortest in sum: what is nearest to a bird that has a nearer group of its own is left
 * for another, with a tag or without. Features of a candidate: how much longer the paths (and how much weaker the levels) become if its group is not its
 * bird's, which group would be its bird's instead and how the two compare, and what was said of the rest of its group. Zeros where no other track is near.
 */
export const GROUP_FEATURES = ['groupLagMarginMs', 'groupLeadMarginDb', 'groupCount', 'groupSounds', 'groupOwnOdds', 'groupRivalOdds', 'groupTurnsOdds', 'groupTurnsSounds', 'groupTurnsLagMs', 'groupTurnsLeadDb', 'groupTurnsTiltDb', 'groupGapMs'] as const;

const REACH_SEC = 30;
const MOST_SOUNDS = 24;
/** What is surely no call would make groups of its own. */
const LEAST_LOG_ODDS = -1;
const MOST_GROUPS = 6;
const MOST_NEIGHBOURS = 5;
/** Lags of one group differ by no more, ms, beside what noise makes of them. */
const SAME_MS = 0.012;
const NOISE_MS = 0.12;
/** Matching: what it costs that a group is none of these birds', and that a track did not hear it. */
const NONE = { lagMs: 0.1, leadDb: 8 };
const UNHEARD = { lagMs: 0.6, leadDb: 30 };
const MOST = { lagMs: 0.5, leadDb: 30 };
const LEAST_ODDS = -8;
const FAR_MS = 0.6;

interface Group { sounds: number[]; lagMs: Float64Array; noiseMs: Float64Array; from: number; to: number }

const NOTHING = GROUP_FEATURES.map(() => 0);

/** @param candidates sorted by onset @returns gives the row of GROUP_FEATURES of candidate n */
export function prepareGroupFeatures(candidates: readonly Candidate[], logOdds: ArrayLike<number>, gains: GainFit): (n: number) => number[] {
  const found = gatherSounds(candidates, logOdds);
  const arrivals = new Array<Arrival | undefined>(found.sounds.length);
  const arrivalOf = (k: number): Arrival => (arrivals[k] ??= describeArrival(candidates[found.sounds[k].best]));
  return (n) => {
    const mine = found.soundOf[n];
    if (mine < 0) return NOTHING;
    const c = candidates[n];
    const tracks = listTracks(c);
    const groups = takeTurns(groupSounds(found, arrivalOf, listNear(found.sounds, mine), mine, tracks));
    const own = groups[0];
    const odds = (g: Group, track: number): number => meanOdds(candidates, logOdds, found.sounds, g, track, mine);
    const lag = weighMatching(groups.map((g) => costsOfLags(g, tracks)), 0, NONE.lagMs);
    const lead = weighMatching(groups.map((g) => costsOfLeads(candidates[found.sounds[g.sounds[0]].best], tracks, gains)), 0, NONE.leadDb);
    const instead = lag.instead < 0 ? undefined : groups[lag.instead];
    let gap = FAR_MS;
    for (let k = 1; k < groups.length; k++) gap = Math.min(gap, compareArrivals(own, groups[k], tracks).differenceMs);
    return [
      clamp(lag.margin, MOST.lagMs), clamp(lead.margin, MOST.leadDb), groups.length, log2(own.sounds.length), own.sounds.length > 1 ? odds(own, c.track) : 0,
      own.sounds.length > 1 ? Math.max(...tracks.filter((j) => j !== c.track).map((j) => odds(own, j))) : 0,
      instead ? odds(instead, c.track) : LEAST_ODDS, instead ? log2(1 + instead.sounds.length) : 0, ...(instead ? compareSounds(c, candidates[found.sounds[instead.sounds[0]].best], gains) : [0, 0, 0]), gap,
    ];
  };
}

/** The own track and the nearest in contact. */
function listTracks(c: Candidate): number[] {
  const near = Array.from(c.lagSec, (_, j) => j).filter((j) => isInContact(c, j)).sort((a, b) => Math.abs(c.lagSec[a]) - Math.abs(c.lagSec[b]) || a - b);
  return [c.track, ...near.slice(0, MOST_NEIGHBOURS)];
}

/** When a sound arrived at every track, ms after its own; NaN where it was not surely heard. And how far noise moves that. */
interface Arrival { lagMs: Float64Array; noiseMs: Float64Array }

function describeArrival(c: Candidate): Arrival {
  const count = c.lagSec.length, lagMs = new Float64Array(count), noiseMs = new Float64Array(count);
  for (let j = 0; j < count; j++) {
    const isHeard = j === c.track || (c.agreementZ[j] >= CLEAR_Z && c.lostShare[j] <= 0.3);
    lagMs[j] = !isHeard ? NaN : j === c.track ? 0 : c.lagSec[j] * 1e3;
    noiseMs[j] = !isHeard || j === c.track ? 0 : NOISE_MS / c.agreementZ[j];
  }
  return { lagMs, noiseMs };
}

/** Indices of sounds near in time that may be calls, `mine` first among equals. */
function listNear(sounds: readonly GroupSound[], mine: number): number[] {
  const out: number[] = [];
  const t = sounds[mine].tSec;
  for (let k = mine - 1, count = 0; k >= 0 && count < MOST_SOUNDS && t - sounds[k].tSec < REACH_SEC; k--) if (sounds[k].logOdds >= LEAST_LOG_ODDS) { out.push(k); count++; }
  for (let k = mine + 1, count = 0; k < sounds.length && count < MOST_SOUNDS && sounds[k].tSec - t < REACH_SEC; k++) if (sounds[k].logOdds >= LEAST_LOG_ODDS) { out.push(k); count++; }
  return out;
}

/** Largest difference of lags among the tracks without what is common to them, and whether it is more than noise; `common` tracks were compared. */
function compareArrivals(a: Arrival, b: Arrival, tracks: readonly number[]): { differenceMs: number; isSame: boolean; common: number } {
  let low = Infinity; let high = -Infinity; let noise = 0; let common = 0;
  for (const j of tracks) {
    const d = a.lagMs[j] - b.lagMs[j];
    if (Number.isNaN(d)) continue;
    low = Math.min(low, d);
    high = Math.max(high, d);
    noise = Math.max(noise, a.noiseMs[j] + b.noiseMs[j]);
    common++;
  }
  if (common < 2) return { differenceMs: FAR_MS, isSame: false, common };
  return { differenceMs: high - low, isSame: high - low <= SAME_MS + noise, common };
}

/** Groups of sounds by their lags, that of `mine` first: each sound joins the nearest group that it agrees with, in order of nearness in time. */
function groupSounds({ sounds }: GroupSounds, arrivalOf: (k: number) => Arrival, near: readonly number[], mine: number, tracks: readonly number[]): Group[] {
  const t = sounds[mine].tSec;
  const order = [...near].sort((a, b) => Math.abs(sounds[a].tSec - t) - Math.abs(sounds[b].tSec - t) || a - b);
  const groups: Group[] = [{ sounds: [mine], ...arrivalOf(mine), from: t, to: t }];
  for (const k of order) {
    const a = arrivalOf(k), at = sounds[k].tSec;
    let best: Group | undefined; let least = Infinity; let known = false;
    for (const g of groups) {
      const { differenceMs, isSame, common } = compareArrivals(a, g, tracks);
      known ||= common >= 2;
      if (isSame && differenceMs < least) { least = differenceMs; best = g; }
    }
    if (best) { best.sounds.push(k); best.from = Math.min(best.from, at); best.to = Math.max(best.to, at); }
    else if (known) groups.push({ sounds: [k], ...a, from: at, to: at });
  }
  return groups;
}

/** The first group and those that take turns with it and with each other: none of two is wholly before the other, so no bird has moved from one to the other. */
function takeTurns(groups: readonly Group[]): Group[] {
  const others = groups.slice(1).sort((a, b) => b.sounds.length - a.sounds.length || a.from - b.from);
  const out = [groups[0]];
  for (const g of others) if (out.length < MOST_GROUPS && out.every((o) => g.from < o.to && o.from < g.to)) out.push(g);
  return out;
}

function costsOfLags(g: Arrival, tracks: readonly number[]): number[] {
  let first = Infinity;
  for (const j of tracks) if (g.lagMs[j] < first) first = g.lagMs[j];
  return tracks.map((j) => (Number.isNaN(g.lagMs[j]) ? UNHEARD.lagMs : Math.min(UNHEARD.lagMs, g.lagMs[j] - first)));
}

function costsOfLeads(c: Candidate, tracks: readonly number[], { gainDb }: GainFit): number[] {
  let most = -Infinity;
  for (const j of tracks) if (c.lostShare[j] <= 0.3) most = Math.max(most, c.levelDb[j] - gainDb[j]);
  return tracks.map((j) => (c.lostShare[j] > 0.3 ? UNHEARD.leadDb : Math.min(UNHEARD.leadDb, most - (c.levelDb[j] - gainDb[j]))));
}

/** How much earlier, by how much more, and with how much more of its low end the first sound reached its own track before all others than the second sound did: means, ms and dB. */
function compareSounds(c: Candidate, o: Candidate, { gainDb }: GainFit): number[] {
  const i = c.track;
  if (i !== o.track && o.agreementZ[i] < CLEAR_Z) return [0, 0, 0];
  let lag = 0; let lead = 0; let tilt = 0; let common = 0;
  for (let j = 0; j < gainDb.length; j++) {
    if (j === i || c.agreementZ[j] < CLEAR_Z || (j !== o.track && o.agreementZ[j] < CLEAR_Z) || c.lostShare[j] > 0.3 || o.lostShare[j] > 0.3) continue;
    const itsLag = (j === o.track ? 0 : o.lagSec[j]) - (i === o.track ? 0 : o.lagSec[i]);
    lag += clamp((c.lagSec[j] - itsLag) * 1e3, MOST.lagMs);
    lead += c.levelDb[i] - c.levelDb[j] - (o.levelDb[i] - o.levelDb[j]);
    tilt += c.tiltDb[i] - c.tiltDb[j] - (o.tiltDb[i] - o.tiltDb[j]);
    common++;
  }
  return common === 0 ? [0, 0, 0] : [lag / common, lead / common, tilt / common];
}

/** Mean over the other sounds of a group of the largest log-odds that it is the track's wearer's. */
function meanOdds(candidates: readonly Candidate[], logOdds: ArrayLike<number>, sounds: readonly GroupSound[], g: Group, track: number, mine: number): number {
  let sum = 0; let count = 0;
  for (const k of g.sounds) {
    if (k === mine) continue;
    let best = LEAST_ODDS;
    for (const m of sounds[k].members) if (candidates[m].track === track) best = Math.max(best, logOdds[m]);
    sum += best;
    count++;
  }
  return count === 0 ? LEAST_ODDS : sum / count;
}

function clamp(v: number, most: number): number {
  return Math.max(-most, Math.min(most, v));
}
