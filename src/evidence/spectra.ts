import type { LaneRegion } from '../kernels/lane-records.js';
import type { FloorSpectrum } from './floors.js';
import type { NoiseFilter } from './noise-filter.js';
import type { StretchKernels } from '../kernels/stretch-kernels.js';

/**
 * Spectra of one stretch of all tracks. Frame t is centred on sample t * hopFrames of the stretch.
 * `complex` is laid out [frame][bin][group of four tracks][re x4 | im x4], bins below `keptBins` only; `power[track][frame * binCount + bin]` is |X|^2 divided by
 * the window's energy, so that white noise of variance s has mean power s in every bin.
 */
export interface StretchSpectra {
  trackCount: number;
  frameCount: number;
  binCount: number;
  groupCount: number;
  complex: Float32Array;
  power: Float32Array[];
  /** Bins of a whole spectrum where rows of `power` hold the lower ones only: `binCount` is then that of a row. */
  readonly wholeBinCount?: number;
  /** Bins per frame of `complex`; all where it is not given. */
  readonly keptBins?: number;
  /** The kernels over the same memory, where an engine has them; results agree with the plain loops up to the rounding of f32. */
  readonly kernels?: StretchKernels;
}

/** Frames [fromFrame, toFrame) of a track that hold sound. */
export interface SoundPiece { trackIndex: number; fromFrame: number; toFrame: number }

/**
 * Computes spectra of a stretch: all tracks, equal lengths. The result may be a view that the next call overwrites. With `floors` an engine may
 * keep powers up to the call band only, and above it what is asked of them.
 */
export interface SpectralEngine {
  analyse(signals: readonly Float32Array[], lengthFrames: number, floors?: readonly FloorSpectrum[]): StretchSpectra;
  /** Memory of the engine's own for the next stretch: what is written there need not be copied. */
  placeStretch(trackCount: number, lengthFrames: number): LaneRegion;
  /** Passes what was written through a filter, in place. Where sound begins or ends, the filter's answer to the step is left out: silence stands there. */
  filterPlaced(filter: NoiseFilter, pieces: readonly SoundPiece[]): void;
  /** Like `analyse`, of what was written where `placeStretch` said. */
  analysePlaced(floors?: readonly FloorSpectrum[]): StretchSpectra;
}

/** Index of the real part of (frame, bin < keptBins, track) in `complex`; the imaginary part is 4 further. */
export function complexIndex(s: StretchSpectra, frame: number, bin: number, track: number): number {
  return ((frame * (s.keptBins ?? s.binCount) + bin) * s.groupCount + (track >> 2)) * 8 + (track & 3);
}
