import type { Candidate } from '../evidence/candidate.js';
import { log10, log2 } from '../numeric/elementary.js';
import { CALL_FEATURES, type CallFeatures } from './call-features.js';
import { GROUP_FEATURES, prepareGroupFeatures } from './place-groups.js';
import type { Describe } from './doubtful.js';
import { writeFeatures } from './feature-rows.js';
import { readLeadCurve, type GainFit } from './fit-gains.js';
import { prepareKindFeatures, KIND_FEATURES } from './kind-features.js';
import { LOOK_ALIKE_FEATURES, prepareLookAlikeFeatures } from './look-alikes.js';
import { preparePairFeatures, PAIR_FEATURES } from './pair-splits.js';
import { prepareSameSoundFeatures, SAME_SOUND_FEATURES } from './same-sound.js';
import { BESIDE_FEATURES, comparePlaces } from './same-place.js';
import { compareSpectra, gatherSpectra } from './spectra-likeness.js';
import { prepareVoiceFeatures, VOICE_FEATURES } from './voice-features.js';
import { BIRD_FEATURES, compareBirds } from './compare-birds.js';
import { readVoices, type Voices } from './voices.js';
import { CLEAR_Z, collectTemplates, findNear, high, liftOfLowEnd, makeTemplate, middle, type Template } from './templates.js';

/** Second look: the first features, what the first look said, and how the candidate fits what its bird and the others usually sound like. */
export const CONTEXT_FEATURES = [
  ...CALL_FEATURES, 'firstLogOdds', 'leadResidualDb', 'leadBelowUsualDb', 'lagToOwnMs', 'leadToOwnDb', 'templateCount', 'aboveUsualDb', 'pitchToUsual',
  'rivalLogOdds', 'rivalStrengthDb', 'lagToOthersMs', 'ownCloserMs', 'heardTracks', 'neighbourLogOdds', 'elements', 'shared', 'core', 'doubtShare', 'gainScaleDb', 'birds',
  'ownLikeness', 'otherLikeness', 'leadBelowPlaceDb', 'placeCount', 'leadBelowHighDb', 'tiltBelowUsualDb', 'strengthBelowPlaceDb', 'leadBelowUsualSigmas', 'leadSpreadDb',
  ...PAIR_FEATURES, ...KIND_FEATURES, ...SAME_SOUND_FEATURES, ...BESIDE_FEATURES, 'unevenness', 'gapMs', ...VOICE_FEATURES, ...GROUP_FEATURES, ...LOOK_ALIKE_FEATURES, ...BIRD_FEATURES,
] as const;

/**
 * Features of a later look at any candidate (sorted by onset), worked out one by one as they are asked for.
 * @param first features of the first look @param logOdds what the look before said of every candidate @param voices of all candidates, where they were read before
 * @returns writes the features of candidate n to a row of CONTEXT_FEATURES
 */
export function prepareContextFeatures(
  candidates: readonly Candidate[], first: readonly CallFeatures[], logOdds: ArrayLike<number>, gains: GainFit, voices: Voices = readVoices(candidates),
): Describe {
  const templates = collectTemplates(candidates, logOdds, gains);
  const residual = candidates.map((c) => meanLeadResidual(c, gains));
  const strength = candidates.map((c) => c.levelDb[c.track] - gains.gainDb[c.track] + 10 * log10(c.ownedBins));
  const usual = templates.map((list) => ({
    residual: middle(list.map((t) => residual[t.candidate])),
    strength: middle(list.map((t) => strength[t.candidate])),
    pitch: middle(list.map((t) => log2(candidates[t.candidate].centroidHz))),
    high: high(list.map((t) => residual[t.candidate])),
    spread: spreadOf(list.map((t) => residual[t.candidate])),
    tilt: middle(list.map((t) => liftOfLowEnd(candidates[t.candidate]))),
    count: list.length,
  }));
  const birds = compareBirds(usual);
  const allPitch = middle(templates.flatMap((list) => list.map((t) => log2(candidates[t.candidate].centroidHz))));
  const doubt = measureDoubt(logOdds);
  const spectra = templates.map((list) => gatherSpectra(candidates, list));
  const pairs = preparePairFeatures(candidates, logOdds, gains);
  const kinds = prepareKindFeatures(candidates, logOdds, templates, findNear);
  const known = new Array<[number, number] | undefined>(candidates.length);
  const likeness = (n: number): [number, number] => (known[n] ??= compareSpectra(candidates[n], templates, spectra, findNear));
  const same = prepareSameSoundFeatures(candidates, logOdds, strength, (n) => likeness(n)[0], gains);
  const byVoice = prepareVoiceFeatures(candidates, voices, logOdds, templates, gains);
  const groups = prepareGroupFeatures(candidates, logOdds, gains), alike = prepareLookAlikeFeatures(candidates, logOdds);
  let scratch: Template | undefined;
  return (n, row) => {
    const c = candidates[n], own = usual[c.track];
    const hasOwn = templates[c.track].length > 0;
    const mine = (scratch = makeTemplate(c, n, gains, scratch));
    const toOwn = findNearest(candidates, templates[c.track], mine, c, c.track);
    let toOthers = 0.5;
    templates.forEach((list, k) => {
      if (k !== c.track) toOthers = Math.min(toOthers, findNearest(candidates, list, mine, c, k).lagMs);
    });
    const around = findRivals(candidates, logOdds, strength, n);
    const inPlace = comparePlaces(candidates, templates[c.track].slice(...findNear(templates[c.track], c.onsetSec)), strength, mine);
    let heard = 0;
    for (const v of mine.lagMs) if (!Number.isNaN(v)) heard++;
    writeFeatures(row, first[n], [
      logOdds[n], residual[n], hasOwn ? residual[n] - own.residual : 0, toOwn.lagMs, toOwn.leadDb, log2(1 + templates[c.track].length),
      hasOwn ? strength[n] - own.strength : 0, Math.abs(log2(c.centroidHz) - (hasOwn ? own.pitch : allPitch)),
      around.rivalLogOdds, around.rivalStrengthDb, toOthers, toOthers - toOwn.lagMs, heard - 1, around.neighbourLogOdds, c.elements, c.shared, c.core, doubt, gains.scaleDb, gains.gainDb.length,
      ...likeness(n), inPlace.leadDb, inPlace.count, hasOwn ? residual[n] - own.high : 0, hasOwn ? liftOfLowEnd(c) - own.tilt : 0, inPlace.strengthDb,
      hasOwn ? (residual[n] - own.residual) / own.spread : 0, hasOwn ? own.spread : 0,
      ...pairs(n), ...kinds(n), ...same(n), ...inPlace.beside, c.unevenness, c.gapSec * 1e3, ...byVoice(n), ...groups(n), ...alike(n), ...birds[c.track],
    ]);
  };
}

/** Doubtful candidates per sure call: says how hard the recording is. */
function measureDoubt(logOdds: ArrayLike<number>): number {
  let doubtful = 0; let sure = 0;
  for (let n = 0; n < logOdds.length; n++) {
    if (logOdds[n] > 2) sure++;
    else if (logOdds[n] > -2) doubtful++;
  }
  return log2((doubtful + 2) / (sure + 2));
}

/** Mean over surely heard tracks of the lead minus what the common curve expects for the lag, dB. */
function meanLeadResidual(c: Candidate, gains: GainFit): number {
  const g = gains.gainDb;
  let sum = 0;
  let count = 0;
  for (let j = 0; j < c.levelDb.length; j++) {
    if (j === c.track || c.agreementZ[j] < CLEAR_Z || c.lostShare[j] > 0.3) continue;
    sum += c.levelDb[c.track] - g[c.track] - (c.levelDb[j] - g[j]) - readLeadCurve(gains, Math.max(0, c.lagSec[j]));
    count++;
  }
  return count ? Math.max(-20, Math.min(20, sum / count)) : 0;
}

/** Nearest template of a bird by its lags, the event seen from that bird's track; 0.5 ms where nothing can be compared. */
export function findNearest(candidates: readonly Candidate[], list: readonly Template[], event: Template, c: { onsetSec: number; offsetSec: number }, track: number): { lagMs: number; leadDb: number } {
  let best = 0.5;
  let lead = 10;
  const origin = event.lagMs[track];
  if (Number.isNaN(origin)) return { lagMs: best, leadDb: lead };
  const [from, to] = findNear(list, c.onsetSec);
  for (let k = from; k < to; k++) {
    const t = list[k];
    const other = candidates[t.candidate];
    if (other.onsetSec < c.offsetSec && other.offsetSec > c.onsetSec) continue;
    const count = t.lagMs.length;
    // Beyond this sum the mean is no less than the best.
    const most = best * best * (count - 1);
    let square = 0; let common = 0;
    for (let j = 0; j < count && square < most; j++) {
      if (j === track) continue;
      const d = event.lagMs[j] - origin - t.lagMs[j];
      if (Number.isNaN(d)) continue;
      square += Math.min(1, d * d);
      common++;
    }
    if (common < 2 || square >= most) continue;
    const distance = Math.sqrt(square / common);
    if (distance < best) { best = distance; lead = Math.min(20, Math.sqrt(spreadLeads(event, t, track, origin) / common)); }
  }
  return { lagMs: best, leadDb: lead };
}

/** Sum of squares of the differences of leads on the tracks with common lags. */
function spreadLeads(event: Template, t: Template, track: number, origin: number): number {
  let leads = 0;
  for (let j = 0; j < t.lagMs.length; j++) {
    if (j === track || Number.isNaN(event.lagMs[j] - origin - t.lagMs[j])) continue;
    leads += (event.leadDb[j] - event.leadDb[track] - t.leadDb[j]) ** 2;
  }
  return leads;
}

function findRivals(candidates: readonly Candidate[], logOdds: ArrayLike<number>, strength: readonly number[], n: number): { rivalLogOdds: number; rivalStrengthDb: number; neighbourLogOdds: number } {
  const c = candidates[n];
  let rival = -8; let rivalStrength = -40; let neighbour = -8;
  const look = (m: number): void => {
    const o = candidates[m];
    if (o.shared) return;
    const both = Math.min(c.offsetSec, o.offsetSec) - Math.max(c.onsetSec, o.onsetSec);
    if (o.track === c.track) {
      if (both > -0.05) neighbour = Math.max(neighbour, logOdds[m]);
    } else if (both > 0.3 * Math.min(c.offsetSec - c.onsetSec, o.offsetSec - o.onsetSec) && logOdds[m] > rival) {
      rival = logOdds[m];
      rivalStrength = strength[m] - strength[n];
    }
  };
  for (let m = n - 1; m >= 0 && candidates[m].onsetSec > c.onsetSec - 2; m--) look(m);
  for (let m = n + 1; m < candidates.length && candidates[m].onsetSec < c.offsetSec + 0.05; m++) look(m);
  return { rivalLogOdds: rival, rivalStrengthDb: Math.max(-40, Math.min(40, rivalStrength)), neighbourLogOdds: neighbour };
}

/** Spread in which single values are surely expected, dB: of few or equal values not less than what lags and levels are measured to. */
const LEAST_SPREAD_DB = 0.7;
const UNKNOWN_SPREAD_DB = 2;

/** Standard deviation of a bird's leads, from the median of deviations (times 1.4826 for normal scatter), pulled to a usual one where calls are few. */
function spreadOf(v: readonly number[]): number {
  const centre = middle([...v]);
  const own = 1.4826 * middle(v.map((x) => Math.abs(x - centre)));
  return Math.max(LEAST_SPREAD_DB, (v.length * own + 3 * UNKNOWN_SPREAD_DB) / (v.length + 3));
}
