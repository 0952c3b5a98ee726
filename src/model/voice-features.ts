import type { Candidate } from '../evidence/candidate.js';
import { ln } from '../numeric/elementary.js';
import type { GainFit } from './fit-gains.js';
import type { Template } from './templates.js';
import { compareLikeness, compareVoices, compareWithBird, selectClear, UNKNOWN_VOICE, type Voices } from './voices.js';

/**
 * Whose voice is it? Birds in body contact with a head turned to the neighbour's microphone are heard there first and loudest: only the voice tells. How
 * alike a candidate is to sure calls of its own bird, of all others and of its rival (the surest other bird at that moment, else the bird whose track hears
 * it loudest), and how far the sure calls of the two birds differ, which says what the difference is worth. Once more with those calls only that are
 * clearly louder on the own track than on any other: of birds that sit together for long, the others may be the neighbour's.
 */
export const VOICE_FEATURES = [
  'ownVoice', 'rivalVoice', 'voiceLead', 'voiceLeadOfAll', 'rivalVoiceLead', 'voiceOdds', 'rivalVoiceOdds', 'pairTelling', 'voiceTelling', 'clearVoice', 'clearVoiceLead', 'bestVoice', 'beforeVoice', 'beforeMs',
] as const;

/** Others that the look before is this sure of to be no call are no rivals. */
const LEAST_LOG_ODDS = -5;
const SURE_LOG_ODDS = 0;
/** Spread of differences of likeness that is added to what sure calls show: other places and heads turned away colour a voice. */
const COLOUR = 0.2;
const MOST_ODDS = 6;
/** What the voices of two birds are taken for before any call is known, as so many calls: margin, and its scatter with the colouring. */
const USUAL = { margin: 0.2, spread: 0.25, calls: 3 };
const BEFORE_SEC = 0.4;
const LONGEST_SEC = 2;
const LEAST_OVERLAP = 0.3;

/** By how much the sure calls of a bird are more like its own others than like another bird's: [bird][other]. */
interface Margins { mean: Float64Array[]; spread: Float64Array[]; telling: number }

/** @param candidates sorted by onset @returns gives the row of VOICE_FEATURES of candidate n */
export function prepareVoiceFeatures(candidates: readonly Candidate[], voices: Voices, logOdds: ArrayLike<number>, templates: readonly (readonly Template[])[], gains: GainFit): (n: number) => number[] {
  const clear = selectClear(candidates, templates);
  // Rivals and templates are candidates themselves, and asked about again.
  const known = new Float64Array(candidates.length * templates.length).fill(NaN);
  const likeness = (n: number, track: number): number => {
    const at = n * templates.length + track;
    if (Number.isNaN(known[at])) known[at] = compareWithBird(voices, candidates, n, templates[track]);
    return known[at];
  };
  const margins = measureMargins(templates, likeness);
  return (n) => {
    const c = candidates[n];
    const rival = findRival(candidates, logOdds, n, gains);
    const own = likeness(n, c.track);
    let other = UNKNOWN_VOICE;
    let rivalVoice = UNKNOWN_VOICE;
    for (let j = 0; j < templates.length; j++) {
      if (j === c.track) continue;
      const v = likeness(n, j);
      if (v > other) other = v;
      if (j === rival.track) rivalVoice = v;
    }
    const lead = compareLikeness(own, rivalVoice);
    const itsLead = rival.candidate < 0 ? 0 - lead : compareLikeness(likeness(rival.candidate, rival.track), likeness(rival.candidate, c.track));
    const ownClear = compareWithBird(voices, candidates, n, clear[c.track]), rivalClear = rival.track < 0 ? UNKNOWN_VOICE : compareWithBird(voices, candidates, n, clear[rival.track]);
    const before = compareBefore(candidates, voices, logOdds, n);
    return [
      own, rivalVoice, lead, compareLikeness(own, other), itsLead, lead === 0 ? 0 : weighMargin(margins, lead, c.track, rival.track),
      itsLead === 0 ? 0 : weighMargin(margins, itsLead, rival.track, c.track), lead === 0 ? 0 : tellPair(margins, c.track, rival.track), margins.telling,
      ownClear, compareLikeness(ownClear, rivalClear), Math.max(own, other), before.likeness, before.gapMs,
    ];
  };
}

function measureMargins(templates: readonly (readonly Template[])[], likeness: (n: number, track: number) => number): Margins {
  const count = templates.length;
  const mean = templates.map(() => new Float64Array(count)), spread = templates.map(() => new Float64Array(count));
  let right = 0; let all = 0;
  templates.forEach((list, i) => {
    const rows = list.map((t) => templates.map((_, track) => likeness(t.candidate, track)));
    for (let j = 0; j < count; j++) {
      if (j === i) continue;
      let sum = USUAL.calls * USUAL.margin; let square = USUAL.calls * (USUAL.margin ** 2 + USUAL.spread ** 2 - COLOUR * COLOUR); let calls = USUAL.calls;
      for (const r of rows) {
        if (r[i] === UNKNOWN_VOICE || r[j] === UNKNOWN_VOICE) continue;
        const d = r[i] - r[j];
        sum += d;
        square += d * d;
        calls++;
        if (d > 0) right++;
        all++;
      }
      mean[i][j] = sum / calls;
      spread[i][j] = Math.sqrt(Math.max(0, square / calls - mean[i][j] ** 2) + COLOUR * COLOUR);
    }
  });
  return { mean, spread, telling: all > 0 ? right / all : 0.5 };
}

/** Log-odds that a sound with this margin of bird i over bird j is of i and not of j, both as normal scatter about what their sure calls show. */
function weighMargin(m: Margins, margin: number, i: number, j: number): number {
  const forI = ((margin - m.mean[i][j]) / m.spread[i][j]) ** 2, forJ = ((margin + m.mean[j][i]) / m.spread[j][i]) ** 2;
  return Math.max(-MOST_ODDS, Math.min(MOST_ODDS, (forJ - forI) / 2 + ln(m.spread[j][i] / m.spread[i][j])));
}

/** How far the two birds' voices lie apart, in spreads. */
function tellPair(m: Margins, i: number, j: number): number {
  return (m.mean[i][j] + m.mean[j][i]) / Math.sqrt(m.spread[i][j] ** 2 + m.spread[j][i] ** 2);
}

/** The surest candidate of another bird at the same time; where there is none worth the name, the bird whose track hears the sound loudest. */
function findRival(candidates: readonly Candidate[], logOdds: ArrayLike<number>, n: number, gains: GainFit): { track: number; candidate: number } {
  const c = candidates[n];
  let candidate = -1; let best = LEAST_LOG_ODDS;
  const look = (m: number): void => {
    const o = candidates[m];
    if (o.track === c.track || o.shared || logOdds[m] <= best) return;
    const both = Math.min(c.offsetSec, o.offsetSec) - Math.max(c.onsetSec, o.onsetSec);
    if (both <= LEAST_OVERLAP * Math.min(c.offsetSec - c.onsetSec, o.offsetSec - o.onsetSec)) return;
    best = logOdds[m];
    candidate = m;
  };
  for (let m = n - 1; m >= 0 && candidates[m].onsetSec > c.onsetSec - LONGEST_SEC; m--) look(m);
  for (let m = n + 1; m < candidates.length && candidates[m].onsetSec < c.offsetSec; m++) look(m);
  if (candidate >= 0) return { track: candidates[candidate].track, candidate };
  let track = -1; let loudest = -Infinity;
  for (let j = 0; j < c.levelDb.length; j++) {
    const level = c.levelDb[j] - gains.gainDb[j];
    if (j !== c.track && c.lostShare[j] < 0.3 && level > loudest) { loudest = level; track = j; }
  }
  return { track, candidate: -1 };
}

/** Whether this is what is left of a call that was sure: how alike the most similar sure candidate is that ended shortly before on any track, and the gap. */
function compareBefore(candidates: readonly Candidate[], voices: Voices, logOdds: ArrayLike<number>, n: number): { likeness: number; gapMs: number } {
  const c = candidates[n];
  let likeness = 0; let gapMs = BEFORE_SEC * 1e3;
  for (let m = n - 1; m >= 0 && candidates[m].onsetSec > c.onsetSec - LONGEST_SEC; m--) {
    const o = candidates[m], gap = c.onsetSec - o.offsetSec;
    if (logOdds[m] < SURE_LOG_ODDS || o.shared || gap > BEFORE_SEC || gap < -APART_SEC) continue;
    const v = compareVoices(voices, n, m);
    if (v > likeness) { likeness = v; gapMs = Math.max(0, gap) * 1e3; }
  }
  return { likeness, gapMs };
}

const APART_SEC = 0.02;
