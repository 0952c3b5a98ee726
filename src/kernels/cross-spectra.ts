/** Summed cross-spectra of all pairs of tracks over a region, in the kernels' memory. */
import { VolaryError } from '../schema/errors.js';
import type { Ptr } from './kernel-exports.js';
import type { Kernels } from './kernels.js';
import type { SignalRegion, Spectra, StftPlan } from './stft.js';
import { computeStft, countSpectraBytes } from './stft.js';

/** none: plain; phase: every bin of every track to magnitude 1; root: magnitude to its square root. */
export type Whitening = 'none' | 'phase' | 'root';

const WHITENING_CODE: Record<Whitening, number> = { none: 0, phase: 1, root: 2 };
/** Spectra that are held at a time. */
const CHUNK_SPECTRA = 64;

/** Sums of cross-spectra (all pairs) and of power (all tracks), and the scratch to fill them; made once, used for any region. */
export interface CrossSums {
  readonly stft: StftPlan;
  readonly trackCount: number;
  readonly groupCount: number;
  readonly firstBin: number;
  readonly endBin: number;
  readonly whitening: Whitening;
  /** [rotation][bin][re x 4][im x 4] */
  readonly cross: Ptr;
  /** [bin][group][x 4] */
  readonly auto: Ptr;
  readonly scratch: Ptr;
  /** Room for CHUNK_SPECTRA spectra. */
  readonly chunk: Ptr;
}

export interface CrossOptions {
  trackCount: number;
  whitening: Whitening;
  /** Bins [firstBin, endBin) are summed; default all. */
  firstBin?: number;
  endBin?: number;
}

/** Takes memory for the sums of one transform size. Throws `internal` for a wrong range of bins or number of tracks. */
export function createCrossSums(k: Kernels, stft: StftPlan, options: CrossOptions): CrossSums {
  const { trackCount, whitening, firstBin = 0, endBin = stft.binCount } = options;
  if (!(Number.isInteger(trackCount) && trackCount >= 1 && trackCount <= 16)) {
    throw new VolaryError('internal', { what: 'wrong number of tracks for the kernels', got: String(trackCount), expected: '1 to 16' });
  }
  if (!(Number.isInteger(firstBin) && Number.isInteger(endBin) && firstBin >= 0 && firstBin < endBin && endBin <= stft.binCount)) {
    throw new VolaryError('internal', { what: 'wrong range of bins', got: `${firstBin} to ${endBin}`, expected: `inside 0 to ${stft.binCount}` });
  }
  const groupCount = Math.ceil(trackCount / 4);
  return {
    stft, trackCount, groupCount, firstBin, endBin, whitening,
    cross: k.alloc(crossBytes(groupCount, stft.binCount)),
    auto: k.alloc(stft.binCount * groupCount * 16),
    scratch: k.alloc(k.fn.crossScratchBytes(trackCount)),
    chunk: k.alloc(countSpectraBytes(stft.binCount, trackCount, CHUNK_SPECTRA)),
  };
}

function crossBytes(groupCount: number, binCount: number): number {
  return 2 * groupCount * groupCount * binCount * 32;
}

/** Sets the sums to zero. */
export function clearCrossSums(k: Kernels, sums: CrossSums): void {
  const { groupCount, stft } = sums;
  k.u8(sums.cross, crossBytes(groupCount, stft.binCount)).fill(0);
  k.u8(sums.auto, stft.binCount * groupCount * 16).fill(0);
}

/** Adds spectra that are already there; `mask` points to f32 [spectrum][bin] or is 0. */
export function addSpectraToSums(k: Kernels, sums: CrossSums, spectra: Spectra, mask: Ptr = 0): void {
  k.fn.addCrossSpectra(
    spectra.ptr, spectra.spectrumCount, sums.stft.binCount, sums.trackCount, sums.firstBin, sums.endBin,
    WHITENING_CODE[sums.whitening], mask, sums.scratch, sums.cross, sums.auto,
  );
}

/** Number of spectra that cover `frameCount` frames; the last window may reach beyond them. At least 1. */
export function countCoveringSpectra(frameCount: number, windowFrames: number, hopFrames: number): number {
  return Math.max(1, Math.ceil((frameCount - windowFrames) / hopFrames) + 1);
}

/**
 * Clears the sums and fills them from `spectrumCount` windows of a region beginning at firstFrame, in chunks of bounded memory.
 * `mask` points to f32 [spectrum][bin] or is 0.
 */
export function sumRegion(k: Kernels, sums: CrossSums, region: SignalRegion, firstFrame: number, spectrumCount: number, mask: Ptr = 0): void {
  clearCrossSums(k, sums);
  const { stft } = sums;
  for (let s = 0; s < spectrumCount; s += CHUNK_SPECTRA) {
    const count = Math.min(CHUNK_SPECTRA, spectrumCount - s);
    const spectra = computeStft(k, stft, region, firstFrame + s * stft.hopFrames, count, sums.chunk);
    addSpectraToSums(k, sums, spectra, mask ? mask + 4 * s * stft.binCount : 0);
  }
}
