import { log10 } from '../numeric/elementary.js';
import type { Candidate } from './candidate.js';
import { refineEdges, type Edges } from './edges.js';
import { describeSound } from './describe-sound.js';
import type { FloorSpectrum } from './floors.js';
import type { SetLevels } from '../kernels/stretch-kernels.js';
import type { BinSet, LagMeter, LagReading } from './lags.js';
import type { OwnershipMap } from './ownership.js';
import { describeParts } from './sound-parts.js';
import { copySegment, type Segment } from './segments.js';
import type { SharedSet } from './shared.js';
import type { AnalysisSettings } from './settings.js';
import type { StretchSpectra } from './spectra.js';

export interface StretchContext {
  spectra: StretchSpectra;
  /** Owned level over the floor per track and frame, dB. */
  levels: readonly Float32Array[];
  /** The same over the broadband pedestal, and the pedestal as a multiple of the floor. */
  tonalLevels: readonly Float32Array[];
  pedestals: readonly Float32Array[];
  /** Level over time of the sound that no track leads clearly, dB. */
  sharedLevel: Float32Array;
  floors: readonly FloorSpectrum[];
  gainDb: ArrayLike<number>;
  lost: readonly Uint8Array[];
  ownership: OwnershipMap;
  settings: AnalysisSettings;
  lagMeter: LagMeter;
  /** Reference time of frame 0, seconds. */
  startSec: number;
  /** What a track's samples lag behind the reference clock after whole-sample alignment, seconds, at a reference time. */
  residualSec: (track: number, tSec: number) => number;
}

/** A segment that owns fewer bins, or next to nothing of its track's sound with no lead, is a fragment of somebody else's sound. */
const LEAST_BINS = 6;
const LEAST_SHARE = 0.12;
const LEAST_SHARE_EVER = 0.04;
const LEAST_LEAD_DB = 4;

/** The bins of a segment: what its track owns there, or what nobody leads clearly. */
export interface OwnedSet { set: BinSet; ownedShare: number; leadDb: number }

/** A candidate and the bins it rests on. */
export interface Measured { candidate: Candidate; set: BinSet }

/**
 * Measures one segment on all tracks; null if it is a mere fragment.
 * @param shared the bins of a segment of shared sound: of what its track holds there, they are its share
 */
export function measureCandidate(c: StretchContext, segment: Segment, shared?: SharedSet): Measured | null {
  const to = Math.min(c.spectra.frameCount, segment.endFrame);
  const owned = shared
    ? { set: shared.set, leadDb: shared.leadDb, ownedShare: measureShare(c, segment.track, shared.set, segment.startFrame, to) }
    : collectOwned(c, segment, segment.startFrame, to);
  const { set, ownedShare, leadDb } = owned;
  if (set.length < LEAST_BINS || (!segment.shared && (ownedShare < LEAST_SHARE_EVER || (ownedShare < LEAST_SHARE && leadDb < LEAST_LEAD_DB)))) return null;
  const edges = refineEdges(c, segment, ownedShare);
  const whole = copySegment(segment);
  whole.endFrame = to;
  return { candidate: describeSegment(c, whole, owned, edges), set };
}

/** All measurements of a segment of known bins and edges (seconds from the start of the stretch). */
export function describeSegment(c: StretchContext, segment: Segment, { set, ownedShare, leadDb }: OwnedSet, edges: Edges): Candidate {
  const { spectra: s, settings } = c;
  const i = segment.track;
  const { startFrame: from, endFrame: to } = segment;
  const binHz = settings.sampleRateHz / settings.fftSize;
  const shape = describeSound(s, c.floors[i], i, from, to, set, settings.bandBins, binHz);
  const hopSec = settings.hopFrames / settings.sampleRateHz;
  const parts = describeParts(s, c.floors[i], i, from, to, set, settings.bandBins, hopSec);
  const split = Math.round(shape.centroidHz / binHz);
  const measured = c.lagMeter.measureSet(s, c.floors, i, set, split);
  const levels = convertLevels(measured.levels, set.length);
  const middleSec = c.startSec + ((from + to) / 2) * hopSec;
  const lags = convertLags(c, i, measured.readings, middleSec);
  const ownResidual = c.residualSec(i, middleSec);
  const lostShare = new Float64Array(c.lost.length);
  for (let j = 0; j < c.lost.length; j++) {
    let lost = 0;
    for (let t = from; t < to; t++) lost += c.lost[j][t];
    lostShare[j] = lost / (to - from);
  }
  // Written out, so that all candidates are objects of one shape.
  return {
    track: i, onsetSec: c.startSec + edges.onsetSec - ownResidual, offsetSec: c.startSec + edges.offsetSec - ownResidual, peakDb: segment.peakDb,
    overPedestal: segment.overPedestal ? 1 : 0, shared: segment.shared ? 1 : 0, core: segment.core ? 1 : 0, twin: segment.twin ? 1 : 0, elements: segment.elements,
    unevenness: segment.unevenness ?? 0, gapSec: (segment.gapFrames ?? 0) * hopSec,
    levelDb: levels.levelDb, floorDb: levels.floorDb, lagSec: lags.lagSec, agreement: lags.agreement, agreementZ: lags.agreementZ, zeroLag: lags.zeroLag,
    tiltDb: levels.tiltDb, ownedShare, leadDb, lostShare, entropy: shape.entropy, crestDb: shape.crestDb, peakHz: shape.peakHz, centroidHz: shape.centroidHz,
    bandwidthHz: shape.bandwidthHz, highRiseDb: shape.highRiseDb, timeEntropy: shape.timeEntropy, attackDb: shape.attackDb, flatness: shape.flatness,
    steadiness: shape.steadiness, bands: shape.bands, voice: shape.voice, harmonicity: shape.harmonicity, ownedBins: set.length,
    heldTones: parts.heldTones, fadeDb: parts.fadeDb, startLikeness: parts.startLikeness, startDb: parts.startDb, beforeLikeness: parts.beforeLikeness, beforeDb: parts.beforeDb,
  };
}

/** Share of a track's sound in frames [from, to) that lies in a set of bins. */
export function measureShare(c: StretchContext, track: number, set: BinSet, from: number, to: number): number {
  const bins = c.settings.bandBins;
  const p = c.spectra.power[track];
  let inside = 0; let all = 0;
  for (let n = 0; n < set.length; n++) inside += p[set[n]];
  if (c.spectra.kernels?.fitsBand(bins)) all = c.spectra.kernels.bins.sumLoud(c.floors, track, 4, from, to, bins);
  else for (let t = from; t < to; t++) {
    for (let b = bins[0]; b < bins[1]; b++) {
      const v = p[t * c.spectra.binCount + b];
      if (v > 4 * c.floors[track][b]) all += v;
    }
  }
  return all > 0 ? Math.min(1, inside / all) : 0;
}

function collectOwned(c: StretchContext, segment: Segment, from: number, to: number): OwnedSet {
  const { spectra: s, ownership, settings } = c;
  const { track } = segment;
  if (s.kernels?.knowsOwner(ownership.owner, settings.bandBins)) {
    const { set, all, owned, led } = s.kernels.bins.collectOwned(c.floors, track, from, to, segment.overPedestal ? c.pedestals[track] : undefined);
    return { set, ownedShare: all > 0 ? owned / all : 0, leadDb: owned > 0 ? led / owned : 0 };
  }
  const found: number[] = [];
  let owned = 0; let all = 0; let lead = 0;
  const p = s.power[track];
  const f = c.floors[track];
  for (let t = from; t < to; t++) {
    const lift = segment.overPedestal ? Math.max(4, c.pedestals[track][t]) : 4;
    for (let b = settings.bandBins[0]; b < settings.bandBins[1]; b++) {
      const k = t * s.binCount + b;
      if (p[k] < lift * f[b]) continue;
      const excess = p[k] - f[b];
      all += excess;
      if (ownership.owner[k] !== track) continue;
      owned += excess;
      lead += excess * ownership.leadDb[k];
      found.push(k);
    }
  }
  return { set: Uint32Array.from(found), ownedShare: all > 0 ? owned / all : 0, leadDb: owned > 0 ? lead / owned : 0 };
}

function convertLevels(sums: SetLevels, binCount: number): { levelDb: Float64Array; floorDb: Float64Array; tiltDb: Float64Array } {
  const n = sums.noise.length;
  const levelDb = new Float64Array(n);
  const floorDb = new Float64Array(n);
  const tiltDb = new Float64Array(n);
  for (let j = 0; j < n; j++) {
    const low = sums.low[j];
    const high = sums.high[j];
    const noise = sums.noise[j];
    const e = low + high;
    // What is not above the floor is reported as a fifth of it: "not heard", without a wild logarithm.
    levelDb[j] = 10 * log10(Math.max(e, 0.2 * noise) / binCount);
    floorDb[j] = 10 * log10(noise / binCount);
    tiltDb[j] = low > 0.1 * noise && high > 0.1 * noise ? 10 * log10(low / high) : 0;
  }
  return { levelDb, floorDb, tiltDb };
}

function convertLags(c: StretchContext, own: number, readings: readonly LagReading[], tSec: number): Pick<Candidate, 'lagSec' | 'agreement' | 'agreementZ' | 'zeroLag'> {
  const n = c.spectra.trackCount;
  const lagSec = new Float64Array(n);
  const agreement = new Float64Array(n);
  const agreementZ = new Float64Array(n);
  const zeroLag = new Float64Array(n);
  for (let j = 0; j < n; j++) {
    if (j === own) continue;
    const r = readings[j];
    lagSec[j] = r.lagSec - (c.residualSec(j, tSec) - c.residualSec(own, tSec));
    agreement[j] = r.agreement;
    agreementZ[j] = r.agreementZ;
    zeroLag[j] = r.zeroLag;
  }
  return { lagSec, agreement, agreementZ, zeroLag };
}
