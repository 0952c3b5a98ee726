/** Short-time spectra over the kernels' memory, without copies. */
import { VolaryError } from '../schema/errors.js';
import type { Ptr } from './kernel-exports.js';
import type { Kernels } from './kernels.js';
import type { LaneRegion } from './lane-records.js';

/** Tables and scratch of one transform size with a window, taken from the kernels' memory once and reused. */
export interface StftPlan {
  readonly fftSize: number;
  readonly binCount: number;
  readonly hopFrames: number;
  readonly windowFrames: number;
  readonly table: Ptr;
  readonly window: Ptr;
  /** 2 * fftSize vectors. */
  readonly scratch: Ptr;
  /** Sum of the window: a sine of amplitude A in mid-bin has magnitude A / 2 times this. */
  readonly windowSum: number;
  /** Sum of the window's squares: white noise of variance v has expected power v times this. */
  readonly windowSquareSum: number;
}

export interface StftOptions {
  /** Power of two from 8 to 8192. */
  fftSize: number;
  hopFrames: number;
  /** Samples under the window, at most fftSize (the default); the rest of the transform is zero padding. */
  windowFrames?: number;
  /** Periodic Hann (the default) or constant. */
  window?: 'hann' | 'rectangle';
}

/** Planar f32 tracks in the kernels' memory: sample i of track t is at signal + 4 (t trackStrideFrames + i). */
export interface SignalRegion {
  signal: Ptr;
  trackStrideFrames: number;
  trackCount: number;
  frameCount: number;
}

/** Spectra in the kernels' memory, [spectrum][bin][group][re x 4][im x 4]. */
export interface Spectra {
  readonly ptr: Ptr;
  readonly spectrumCount: number;
  readonly binCount: number;
  readonly trackCount: number;
  readonly groupCount: number;
  /** View, not a copy; `complexIndex` finds a value. */
  readonly values: Float32Array;
}

/** Makes the tables of a transform. Takes memory that lives until a mark before it is released. Throws `internal` for a wrong size. */
export function createStftPlan(k: Kernels, options: StftOptions): StftPlan {
  const { fftSize, hopFrames, windowFrames = fftSize, window = 'hann' } = options;
  if (!k.fn.fftKnowsSize(fftSize)) throw wrongOption('transform size', fftSize, 'a power of two from 8 to 8192');
  if (!(Number.isInteger(windowFrames) && windowFrames >= 1 && windowFrames <= fftSize)) throw wrongOption('window length', windowFrames, `1 to ${fftSize}`);
  if (!(Number.isInteger(hopFrames) && hopFrames >= 1)) throw wrongOption('hop', hopFrames, 'a positive whole number');
  const table = k.alloc(k.fn.fftTableBytes(fftSize));
  k.fn.fftPrepare(fftSize, table);
  const windowPtr = k.allocF32(windowFrames);
  if (window === 'hann') k.fn.hannWindow(windowPtr, windowFrames, 0, 1);
  else k.f32(windowPtr, windowFrames).fill(1);
  return {
    fftSize, hopFrames, windowFrames, table, window: windowPtr,
    binCount: fftSize / 2 + 1,
    scratch: k.alloc(2 * fftSize * 16),
    windowSum: k.fn.sumWindow(windowPtr, windowFrames),
    windowSquareSum: k.fn.sumWindowSquares(windowPtr, windowFrames),
  };
}

function wrongOption(what: string, got: number, expected: string): VolaryError {
  return new VolaryError('internal', { what: `wrong ${what} for the kernels`, got: String(got), expected });
}

/** Number of spectra whose windows lie wholly in `frameCount` frames; 0 when none does. */
export function countWholeSpectra(frameCount: number, windowFrames: number, hopFrames: number): number {
  return frameCount < windowFrames ? 0 : Math.floor((frameCount - windowFrames) / hopFrames) + 1;
}

/** Bytes that `computeStft` takes for its result. */
export function countSpectraBytes(binCount: number, trackCount: number, spectrumCount: number): number {
  return spectrumCount * binCount * Math.ceil(trackCount / 4) * 32;
}

/**
 * Spectra of all tracks: spectrum s is of frames [firstFrame + s hop, ... + windowFrames), zeros outside the region, unscaled (see
 * StftPlan.windowSum). By default all windows that lie wholly in the region, from frame 0. The result is a view into memory taken with
 * `alloc` (or given as `into`); it lives until a mark before it is released.
 * @example const s = computeStft(k, plan, region); const i = complexIndex(s, 0, 12, 3); const re = s.values[i], im = s.values[i + 4];
 */
export function computeStft(k: Kernels, plan: StftPlan, region: SignalRegion, firstFrame = 0, spectrumCount?: number, into?: Ptr): Spectra {
  const { trackCount, frameCount } = region;
  const count = spectrumCount ?? countWholeSpectra(frameCount - firstFrame, plan.windowFrames, plan.hopFrames);
  const spectra = placeSpectra(k, plan.binCount, trackCount, count, into);
  k.fn.stft(
    region.signal, region.trackStrideFrames, trackCount, frameCount, firstFrame, plan.hopFrames, count,
    plan.fftSize, plan.window, plan.windowFrames, plan.table, plan.scratch, spectra.ptr,
  );
  return spectra;
}

/** Memory for spectra, uninitialised, or a description of memory that is already there. */
export function placeSpectra(k: Kernels, binCount: number, trackCount: number, spectrumCount: number, into?: Ptr): Spectra {
  const bytes = countSpectraBytes(binCount, trackCount, spectrumCount);
  const ptr = into ?? k.alloc(bytes);
  return { ptr, spectrumCount, binCount, trackCount, groupCount: Math.ceil(trackCount / 4), values: k.f32(ptr, bytes / 4) };
}

/** Index in `values` of the real part of one value; the imaginary part is 4 further. */
export function complexIndex(s: Spectra, spectrum: number, bin: number, track: number): number {
  return (((spectrum * s.binCount + bin) * s.groupCount + (track >> 2)) << 3) + (track & 3);
}

/** What is kept of the bins above a band in place of their powers; see `sumBands` of the kernels. */
export interface BandSums {
  /** f32 [track][spectrum][8]: mean of power over floor in eight bands. */
  rise: Ptr;
  /** f32 [track][spectrum]: sum of power over floor over the high bins. */
  high: Ptr;
}

/** Which sums `computeStftPower` takes. */
export interface BandSumPlan {
  /** Powers are kept below this bin. */
  powerBins: number;
  /** Per track, power per bin of the whole spectrum, > 0. */
  floors: readonly ArrayLike<number>[];
  /** Nine ascending bins: edges of eight bands. */
  edges: readonly number[];
  /** First and end of the high bins; the end is not below the last edge. */
  highBins: readonly [number, number];
}

/**
 * Bins 0 .. keptBins-1 of spectra of a stretch in lanes, spectrum s of the frames around s hop, and the power times `scale` of all bins
 * [track][spectrum][bin], or, with `sums`, of the lower bins and sums over the others. The stretch is padded by half a transform at least, and the window is as long as the transform.
 */
export function computeStftPower(k: Kernels, plan: StftPlan, region: LaneRegion, spectrumCount: number, scale: number, keptBins: number, sums?: BandSumPlan): { spectra: Spectra; power: Ptr; sums?: BandSums } {
  const { trackCount } = region;
  const spectra = placeSpectra(k, keptBins, trackCount, spectrumCount);
  const powerBins = sums?.powerBins ?? plan.binCount;
  const power = k.allocF32(trackCount * spectrumCount * powerBins);
  const placed = sums && { rise: k.allocF32(8 * trackCount * spectrumCount), high: k.allocF32(trackCount * spectrumCount) };
  const before = k.mark();
  const scratch = k.alloc(k.fn.stftPowerScratchBytes(plan.fftSize, trackCount));
  const { weight, edge } = sums ? placeSumPlan(k, plan.binCount, scale, sums) : { weight: 0, edge: 0 };
  k.fn.stftPower(
    region.lanes - 8 * plan.fftSize, region.groupBytes, trackCount, plan.hopFrames, spectrumCount, plan.fftSize, plan.window, plan.table, scratch,
    keptBins, spectra.ptr, scale, powerBins, power, weight, edge, placed?.rise ?? 0, placed?.high ?? 0,
  );
  k.release(before);
  return { spectra, power, sums: placed };
}

function placeSumPlan(k: Kernels, binCount: number, scale: number, { floors, edges, highBins }: BandSumPlan): { weight: Ptr; edge: Ptr } {
  const lanes = 4 * Math.ceil(floors.length / 4);
  const weight = k.allocF32(lanes * binCount);
  const values = k.f32(weight, lanes * binCount).fill(0);
  floors.forEach((floor, j) => {
    for (let b = 0; b < binCount; b++) values[b * lanes + j] = scale / floor[b];
  });
  const edge = k.alloc(44);
  k.i32(edge, 11).set([...edges, ...highBins]);
  return { weight, edge };
}

/** Power |X|^2 times `scale`, a view [track][spectrum][bin]. */
export function computePower(k: Kernels, spectra: Spectra, scale = 1): Float32Array {
  const count = spectra.trackCount * spectra.spectrumCount * spectra.binCount;
  const ptr = k.allocF32(count);
  k.fn.powerFromSpectra(spectra.ptr, spectra.spectrumCount, spectra.binCount, spectra.trackCount, scale, ptr);
  return k.f32(ptr, count);
}

/**
 * Signals from spectra, the inverse of `computeStft` with the same plan; a view [track][frame] of `frameCount` frames per track. Frames
 * that no window covers (or only its zero) are 0.
 */
export function computeIstft(k: Kernels, plan: StftPlan, spectra: Spectra, frameCount: number, firstFrame = 0): Float32Array {
  const signal = k.allocF32(spectra.trackCount * frameCount);
  const before = k.mark();
  const weight = k.allocF32(frameCount);
  k.fn.istft(
    spectra.ptr, spectra.spectrumCount, spectra.trackCount, plan.fftSize, firstFrame, plan.hopFrames, plan.window, plan.windowFrames,
    plan.table, plan.scratch, weight, signal, frameCount, frameCount,
  );
  k.release(before);
  return k.f32(signal, spectra.trackCount * frameCount);
}
