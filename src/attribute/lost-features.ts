import type { Candidate } from '../evidence/candidate.js';
import { collectTemplates, findNear, type Template } from '../model/templates.js';
import { compareLikeness, compareWithBird, UNKNOWN_VOICE, type Voices } from '../model/voices.js';
import type { GainFit } from '../model/fit-gains.js';
import { log2 } from '../numeric/elementary.js';
import { measureStrength, type LeftoverEvent } from './group-leftovers.js';
import type { LeftoverCut } from './untagged-features.js';

/** A cut of a leftover sound and a bird whose link was down at that moment: could it have been that bird? */
export interface LostClaim {
  /** Index of the cut. */
  cut: number;
  track: number;
  features: Float64Array;
}

/**
 * How the sound arrived at the other microphones, and whose voice it is like, against how that bird's calls arrived there while its link was up; and
 * how well it is cut: what other looks said of the cut, and how it lies in its event.
 */
export const LOST_FEATURES = [
  'lagMs', 'lagTracks', 'leadDb', 'leadMedianDb', 'expectedStrengthDb', 'otherLagMs', 'otherLeadDb', 'templates', 'sinceTemplateSec', 'lostShare', 'lostBirds',
  'durationMs', 'entropy', 'peakDb', 'bestZ', 'heard', 'pitch', 'shared', 'lostVoice', 'lostVoiceLead', 'ownLogOdds', 'untaggedLogOdds', 'members', 'belowStrongestDb', 'shareOfEvent', 'sinceEventMs',
] as const;

const CLEAR_Z = 5;
const LEAST_LOST = 0.4;
const REACH_SEC = 150;

/**
 * Claims of birds with a lost link on cuts of leftover events.
 * @param logOdds of every candidate to be its wearer's call @param untaggedOdds of every cut to be a call without a tag
 */
export function collectLostClaims(
  candidates: readonly Candidate[], logOdds: ArrayLike<number>, events: readonly LeftoverEvent[], cuts: readonly LeftoverCut[], untaggedOdds: ArrayLike<number>, gains: GainFit, voices: Voices,
): LostClaim[] {
  const templates = collectTemplates(candidates, logOdds, gains);
  const claims: LostClaim[] = [], pitches = templates.map((list) => middlePitch(candidates, list));
  cuts.forEach(({ event, candidate }, cut) => {
    const c = candidates[candidate];
    const lost = Array.from(c.lostShare, (_, k) => k).filter((k) => k !== c.track && c.lostShare[k] > LEAST_LOST);
    for (const track of lost) {
      const [from, to] = findNear(templates[track], c.onsetSec);
      if (from === to) continue;
      const claim = describeClaim(candidates, candidate, templates, track, lost.length, pitches[track], gains, voices);
      claims.push({ cut, track, features: Float64Array.from([...claim, logOdds[candidate], untaggedOdds[cut], ...describePlace(candidates, candidate, events[event], gains)]) });
    }
  });
  return claims;
}

/** How a cut lies in its event: members, level below the strongest, share of the length, onset after the event's. */
function describePlace(candidates: readonly Candidate[], n: number, e: LeftoverEvent, gains: GainFit): number[] {
  const c = candidates[n];
  return [
    e.members.length, measureStrength(c, gains.gainDb) - measureStrength(candidates[e.lead], gains.gainDb), (c.offsetSec - c.onsetSec) / Math.max(1e-3, e.offsetSec - e.onsetSec), (c.onsetSec - e.onsetSec) * 1e3,
  ];
}

function describeClaim(candidates: readonly Candidate[], n: number, templates: readonly Template[][], track: number, lostBirds: number, pitch: number, gains: GainFit, voices: Voices): number[] {
  const c = candidates[n];
  const own = compareArrival(candidates, templates[track], c, track, gains);
  let otherLag = 0.5; let otherLead = 20; let otherVoice = UNKNOWN_VOICE;
  templates.forEach((list, k) => {
    if (k === track) return;
    otherVoice = Math.max(otherVoice, compareWithBird(voices, candidates, n, list));
    if (k === c.track) return;
    const d = compareArrival(candidates, list, c, k, gains);
    if (d.lagMs < otherLag) otherLag = d.lagMs;
    if (d.leadDb < otherLead) otherLead = d.leadDb;
  });
  const voice = compareWithBird(voices, candidates, n, templates[track]);
  let bestZ = 0; let heard = 0;
  for (let j = 0; j < c.agreementZ.length; j++) {
    if (j === c.track) continue;
    bestZ = Math.max(bestZ, c.agreementZ[j]);
    if (c.agreementZ[j] > CLEAR_Z) heard++;
  }
  return [
    own.lagMs, own.common, own.leadDb, own.leadMedianDb, measureStrength(c, gains.gainDb) - own.strengthDb, otherLag, otherLead, log2(1 + templates[track].length),
    own.sinceSec, c.lostShare[track], lostBirds, (c.offsetSec - c.onsetSec) * 1e3, c.entropy, c.peakDb, bestZ, heard,
    Math.abs(log2(c.centroidHz) - pitch), c.shared, voice, compareLikeness(voice, otherVoice),
  ];
}

/** Upper median of the pitch of a bird's calls, octaves; not-a-number of none. */
function middlePitch(candidates: readonly Candidate[], list: readonly Template[]): number {
  const pitches = Float64Array.from(list, (t) => log2(candidates[t.candidate].centroidHz)).sort();
  return pitches.length > 0 ? pitches[pitches.length >> 1] : NaN;
}

interface Arrival { lagMs: number; common: number; leadDb: number; leadMedianDb: number; strengthDb: number; sinceSec: number }

/** Nearest template of a bird whose own track is not to be used: lags and leads among the other tracks, seen from the event's track. */
function compareArrival(candidates: readonly Candidate[], list: readonly Template[], c: Candidate, track: number, gains: GainFit): Arrival {
  const g = gains.gainDb;
  const o = c.track;
  let best: Arrival = { lagMs: 0.5, common: 0, leadDb: 20, leadMedianDb: 20, strengthDb: 0, sinceSec: 300 };
  const leads = new Float64Array(c.levelDb.length);
  let cost = Infinity;
  for (const t of list) {
    if (Math.abs(t.tSec - c.onsetSec) > REACH_SEC || t.candidate < 0) continue;
    const source = candidates[t.candidate];
    if (source.onsetSec < c.offsetSec && source.offsetSec > c.onsetSec) continue;
    let square = 0; let common = 0;
    let count = 0; let leadSquare = 0;
    for (let j = 0; j < t.leadDb.length; j++) {
      if (j === o || j === track || c.lostShare[j] > 0.3) continue;
      const lead = c.levelDb[o] - g[o] - (c.levelDb[j] - g[j]), far = Math.min(20, Math.abs(lead - (t.leadDb[j] - t.leadDb[o])));
      leads[count++] = far;
      leadSquare += far * far;
      const d = c.agreementZ[j] >= CLEAR_Z ? c.lagSec[j] * 1e3 - (t.lagMs[j] - t.lagMs[o]) : NaN;
      if (Number.isNaN(d)) continue;
      square += Math.min(0.25, d * d);
      common++;
    }
    if (count === 0) continue;
    const lagMs = common ? Math.sqrt(square / common) : 0.5;
    const leadDb = Math.sqrt(leadSquare / count);
    const now = lagMs * 20 + leadDb;
    if (now >= cost) continue;
    cost = now;
    // What the template's call left on the event's track.
    const strengthDb = measureStrength(source, g) - t.leadDb[o];
    best = { lagMs, common, leadDb: Math.min(20, leadDb), leadMedianDb: leads.subarray(0, count).sort()[count >> 1], strengthDb, sinceSec: Math.abs(t.tSec - c.onsetSec) };
  }
  return best;
}
