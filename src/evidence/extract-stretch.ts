import type { Candidate } from './candidate.js';
import { cutCores } from './cores.js';
import { cutAtDips } from './dips.js';
import { findLostFrames } from './dropouts.js';
import type { FloorSpectrum } from './floors.js';
import type { LagMeter } from './lags.js';
import { measureCandidate, type StretchContext } from './measure-candidate.js';
import { isTelling, mayBeTelling } from './telling.js';
import { measureTwins } from './twins.js';
import { mapOwnership, sumOwned } from './ownership.js';
import { findPedestal } from './pedestal.js';
import { cutSegments, joinSegments, type Segment, type SegmentRules } from './segments.js';
import type { AnalysisSettings } from './settings.js';
import { collectShared, measureSharedLevel, type SharedSet } from './shared.js';
import { smoothLevel } from './smooth-level.js';
import type { SpectralEngine, StretchSpectra } from './spectra.js';

export interface StretchInput {
  /** Samples of all tracks; left out where they were written into the engine's own memory. */
  signals?: readonly Float32Array[];
  startSec: number;
  residualSec: (track: number, tSec: number) => number;
  gainDb: ArrayLike<number>;
  floors: readonly FloorSpectrum[];
  /** Only candidates that gains and clocks can be fitted on (see telling.ts), at less cost. */
  tellingOnly?: boolean;
}

export interface StretchResult {
  candidates: Candidate[];
  lost: Uint8Array[];
}

/** All candidates of one stretch of sound: spectra, lost frames, ownership, segments per track, measurements. */
export function extractStretch(engine: SpectralEngine, lagMeter: LagMeter, settings: AnalysisSettings, input: StretchInput): StretchResult {
  const spectra = input.signals ? engine.analyse(input.signals, input.signals[0].length, input.floors) : engine.analysePlaced(input.floors);
  const lost = findLostFrames(spectra, input.floors, settings.bandBins[0]);
  const ownership = mapOwnership(spectra, input.floors, input.gainDb, lost, settings.bandBins);
  const { isLoud, levels, pedestals, tonalLevels } = measureTracks(spectra, input.floors, ownership.owner, settings.bandBins);
  const sharedLevel = measureSharedLevel(spectra, input.floors, ownership, settings.bandBins);
  const context: StretchContext = {
    spectra, levels, tonalLevels, pedestals, sharedLevel, floors: input.floors, gainDb: input.gainDb, lost, ownership, settings, lagMeter,
    startSec: input.startSec, residualSec: input.residualSec,
  };
  const hopSec = settings.hopFrames / settings.sampleRateHz;
  const rules: SegmentRules = {
    triggerDb: 5, keepDb: 0, belowPeakDb: 17, bridgeFrames: Math.round(0.014 / hopSec), leastFrames: Math.max(3, Math.round(settings.callSec[0] / hopSec)),
  };
  const candidates: Candidate[] = [];
  const keep = (segment: Segment, shared?: SharedSet): void => {
    const measured = measureCandidate(context, segment, shared);
    if (measured) candidates.push(measured.candidate, ...measureTwins(context, segment, measured, candidates));
  };
  for (let j = 0; j < spectra.trackCount; j++) {
    if (!isLoud[j]) continue;
    const plain = cutSegments(j, levels[j], rules);
    const tonal = cutSegments(j, tonalLevels[j], rules, true);
    const strings = plain.length < 2 ? [] : STRING_GAPS_SEC.flatMap((gap) => joinSegments(plain, Math.round(gap / hopSec), Math.round(settings.callSec[1] / hopSec)));
    const cores = input.tellingOnly ? [] : cutCores(j, levels[j], plain, rules, hopSec);
    const parts = input.tellingOnly ? [] : cutAtDips(levels[j], plain, rules);
    const found = [...plain];
    for (const s of [...tonal, ...strings, ...cores, ...parts]) if (!found.some((b) => sameStretch(s, b))) found.push(s);
    for (const segment of found) if (!input.tellingOnly || mayBeTelling(segment)) keep(segment);
  }
  for (const segment of cutShared(sharedLevel, rules, hopSec)) {
    if (input.tellingOnly && !mayBeTelling(segment)) continue;
    const shared = collectShared(spectra, input.floors, lost, ownership, settings.bandBins, segment.startFrame, Math.min(spectra.frameCount, segment.endFrame));
    // On the track that hears it best.
    if (shared.track < 0) continue;
    segment.track = shared.track;
    segment.shared = true;
    keep(segment, shared);
  }
  const wanted = input.tellingOnly ? candidates.filter(isTelling) : candidates;
  wanted.sort((a, b) => a.onsetSec - b.onsetSec || a.track - b.track || a.offsetSec - b.offsetSec || a.shared - b.shared || a.twin - b.twin);
  return { candidates: wanted, lost };
}

/** Levels of all tracks, and whether they are ever loud. Arrays grow value by value: compiled code knows them again, whichever code made them. */
function measureTracks(
  s: StretchSpectra, floors: readonly FloorSpectrum[], owner: Uint8Array, bins: readonly [number, number],
): Pick<StretchContext, 'levels' | 'pedestals' | 'tonalLevels'> & { isLoud: boolean[] } {
  const isLoud: boolean[] = [], levels: Float32Array[] = [], pedestals: Float32Array[] = [], tonalLevels: Float32Array[] = [];
  for (let j = 0; j < s.trackCount; j++) {
    const level = ownedLevel(s, floors[j], owner, j, bins), loud = hasLoudFrame(level);
    const pedestal = loud ? findPedestal(s, floors[j], j, level, bins, PEDESTAL_FROM_DB) : NO_PEDESTAL;
    isLoud.push(loud);
    levels.push(level);
    pedestals.push(pedestal);
    tonalLevels.push(loud ? ownedLevel(s, floors[j], owner, j, bins, pedestal) : level);
  }
  return { isLoud, levels, pedestals, tonalLevels };
}

/** Segments of sound that no track leads clearly, not yet on a track. */
function cutShared(sharedLevel: Float32Array, rules: SegmentRules, hopSec: number): Segment[] {
  const { leastFrames } = rules, bridgeFrames = Math.round(0.009 / hopSec);
  const cut = (belowPeakDb: number): Segment[] => cutSegments(0, sharedLevel, { triggerDb: 6, keepDb: 2, belowPeakDb, bridgeFrames, leastFrames });
  const wide = cut(13), narrow = cut(8);
  for (const segment of narrow) segment.core = true;
  return [...wide, ...narrow.filter((a) => !wide.some((b) => sameStretch(a, b)))];
}

/** Frames from this level on have a pedestal; segments need more (`triggerDb`), so that a track without such frames has neither. */
const PEDESTAL_FROM_DB = 4;
/** Nobody asks for it: such a track has no segments. */
const NO_PEDESTAL = new Float32Array(0);

function hasLoudFrame(level: Float32Array): boolean {
  for (let t = 0; t < level.length; t++) if (level[t] >= PEDESTAL_FROM_DB) return true;
  return false;
}

/** Elements closer than these may be one call (a trill): the joined stretches are measured as candidates beside their elements. */
const STRING_GAPS_SEC = [0.016, 0.024, 0.034, 0.048, 0.062];

/** Whether two segments cover nearly the same frames (intersection over union above 0.85). */
function sameStretch(a: Segment, b: Segment): boolean {
  const both = Math.min(a.endFrame, b.endFrame) - Math.max(a.startFrame, b.startFrame);
  return both > 0.85 * (Math.max(a.endFrame, b.endFrame) - Math.min(a.startFrame, b.startFrame));
}

/**
 * Owned energy of a track per frame over its floor in the band, dB, smoothed over three frames (1 2 1). With a pedestal only what rises over it counts.
 */
export function ownedLevel(
  s: StretchSpectra, floor: FloorSpectrum, owner: Uint8Array, track: number, bins: readonly [number, number], pedestal?: Float32Array,
): Float32Array {
  let floorSum = 0;
  for (let b = bins[0]; b < bins[1]; b++) floorSum += floor[b];
  return smoothLevel(s, sumOwned(s, floor, owner, track, bins, pedestal), floorSum);
}
