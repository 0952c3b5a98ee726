import type { Kernels } from '../kernels/kernels.js';
import { countLaneBytes, fillLanes, placeLanes, type LaneRegion } from '../kernels/lane-records.js';
import { computeStftPower, countSpectraBytes, createStftPlan, type BandSumPlan } from '../kernels/stft.js';
import { countStretchBytes, createLagTransform, StretchKernels } from '../kernels/stretch-kernels.js';
import { findHighBins } from './describe-sound.js';
import { findRiseEdges } from './dropouts.js';
import type { FloorSpectrum } from './floors.js';
import type { AnalysisSettings } from './settings.js';
import type { NoiseFilter } from './noise-filter.js';
import type { SoundPiece, SpectralEngine, StretchSpectra } from './spectra.js';

/** Bytes of kernel memory that an engine needs for stretches of up to `mostFrames` samples on `trackCount` tracks. */
export function countEngineBytes(settings: AnalysisSettings, trackCount: number, mostFrames: number): number {
  const spectra = Math.floor((mostFrames - 1) / settings.hopFrames) + 1;
  const bins = settings.fftSize / 2 + 1;
  return countSpectraBytes(countKeptBins(settings), trackCount, spectra) + trackCount * spectra * (bins + 9) * 4
    + countLaneBytes(trackCount, mostFrames, settings.fftSize) + countStretchBytes(trackCount, spectra, bins, mostFrames) + (1 << 20);
}

/** Phases are asked for inside the band only. */
function countKeptBins(settings: AnalysisSettings): number {
  return Math.min(settings.fftSize / 2 + 1, settings.bandBins[1]);
}

/** Where it pays: powers up to a bin above the band, which smoothing asks for, and sums over the rest. */
function planSums(settings: AnalysisSettings, binCount: number, floors: readonly FloorSpectrum[] | undefined): BandSumPlan | undefined {
  const edges = findRiseEdges(binCount, settings.bandBins[0]);
  const powerBins = 4 * Math.ceil((settings.bandBins[1] + 1) / 4);
  if (!floors || !edges || powerBins >= binCount) return undefined;
  return { powerBins, floors, edges, highBins: findHighBins(binCount, settings.bandBins) };
}

/** Where a track's sound begins or ends: pieces that touch are one. */
function listSteps(pieces: readonly SoundPiece[]): { trackIndex: number; frame: number }[] {
  const isStep = (track: number, frame: number, side: 'fromFrame' | 'toFrame'): boolean => !pieces.some((p) => p.trackIndex === track && p[side] === frame);
  return pieces.flatMap(({ trackIndex, fromFrame, toFrame }) => [
    ...(isStep(trackIndex, fromFrame, 'toFrame') ? [{ trackIndex, frame: fromFrame }] : []), ...(isStep(trackIndex, toFrame, 'fromFrame') ? [{ trackIndex, frame: toFrame }] : []),
  ]);
}

/** Spectra by the kernels. The result of `analyse` is a view into the kernels' memory that the next call overwrites. */
export function createKernelEngine(k: Kernels, settings: AnalysisSettings): SpectralEngine {
  const plan = createStftPlan(k, { fftSize: settings.fftSize, hopFrames: settings.hopFrames });
  const lagTransform = createLagTransform(k, settings.fftSize);
  const keptBins = countKeptBins(settings);
  const base = k.mark();
  let placed: LaneRegion | undefined;
  const placeStretch = (trackCount: number, lengthFrames: number): LaneRegion => {
    k.release(base);
    placed = placeLanes(k, trackCount, lengthFrames, settings.fftSize);
    return placed;
  };
  const analysePlaced = (floors?: readonly FloorSpectrum[]): StretchSpectra => {
    if (!placed) throw new Error('analysePlaced before placeStretch');
    const region = placed;
    const { trackCount } = region;
    const sumPlan = planSums(settings, plan.binCount, floors);
    const binCount = sumPlan?.powerBins ?? plan.binCount;
    const frameCount = Math.floor((region.frameCount - 1) / settings.hopFrames) + 1;
    const powerScale = 1 / plan.windowSquareSum;
    const { spectra, power: powerPtr, sums } = computeStftPower(k, plan, region, frameCount, powerScale, keptBins, sumPlan);
    const power = Array.from({ length: trackCount }, (_, j) => k.f32(powerPtr + j * frameCount * binCount * 4, frameCount * binCount));
    const kernels = new StretchKernels(k, { trackCount, frameCount, binCount, power: powerPtr, powerScale, spectra: spectra.ptr, keptBins, signal: region, sums }, lagTransform);
    return { trackCount, frameCount, binCount, wholeBinCount: plan.binCount, groupCount: spectra.groupCount, keptBins, complex: spectra.values, power, kernels };
  };
  const filterPlaced = (filter: NoiseFilter, pieces: readonly SoundPiece[]): void => {
    if (!placed) throw new Error('filterPlaced before placeStretch');
    if (filter.length === 0) return;
    const { lanes, groupBytes, trackCount, frameCount } = placed;
    const before = k.mark();
    const taps = k.allocF32(filter.length);
    k.f32(taps, filter.length).set(filter);
    k.fn.filterLanes(lanes, groupBytes, Math.ceil(trackCount / 4), frameCount, taps, filter.length);
    k.release(before);
    for (const { trackIndex, frame } of listSteps(pieces)) {
      const count = Math.min(filter.length - 1, frameCount - frame);
      if (count <= 0) continue;
      const values = k.f32(lanes + (trackIndex >> 2) * groupBytes + 16 * frame, 4 * count);
      for (let i = trackIndex & 3; i < values.length; i += 4) values[i] = 0;
    }
  };
  return {
    placeStretch,
    filterPlaced,
    analysePlaced,
    analyse(signals, lengthFrames, floors): StretchSpectra {
      fillLanes(k, placeStretch(signals.length, lengthFrames), signals);
      return analysePlaced(floors);
    },
  };
}
