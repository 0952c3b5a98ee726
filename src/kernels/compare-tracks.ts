/** How alike the tracks are in bands of a region: coherence, level ratio and spectral distance of every pair. */
import { VolaryError } from '../schema/errors.js';
import type { CrossSums } from './cross-spectra.js';
import type { Ptr } from './kernel-exports.js';
import type { Kernels } from './kernels.js';

export interface BinBand {
  firstBin: number;
  /** First bin that is not part of the band. */
  endBin: number;
}

/** Planar results [band][pair], pairs as `pairIndex` numbers them; fresh arrays. */
export interface TrackComparison {
  readonly pairCount: number;
  /** 0 .. 1; 1 / m by chance for m independent windows. */
  readonly coherence: Float32Array;
  /** Level of the first track over the second, dB within -120 .. 120. */
  readonly levelDb: Float32Array;
  /** Mean absolute difference of the unit-sum spectra, dB. */
  readonly distanceDb: Float32Array;
}

export interface CompareOptions {
  bands: BinBand[];
  /** f32[track][bin] in the kernels' memory: noise power |X|^2 of one window. */
  noise?: Ptr;
  /** Number of windows in the sums (with a mask: its mean times that). Needed with noise. */
  spectrumCount?: number;
}

/**
 * Compares all pairs of tracks from sums over a region (`sumRegion` with whitening 'none').
 * Throws `internal` for whitened sums or bands outside the summed bins.
 */
export function compareTracks(k: Kernels, sums: CrossSums, options: CompareOptions): TrackComparison {
  const { bands, noise = 0, spectrumCount = 0 } = options;
  const { trackCount, stft } = sums;
  if (sums.whitening !== 'none') throw new VolaryError('internal', { what: 'levels cannot be compared in whitened sums' });
  const pairCount = (trackCount * (trackCount - 1)) / 2;
  const result = {
    pairCount,
    coherence: new Float32Array(bands.length * pairCount),
    levelDb: new Float32Array(bands.length * pairCount),
    distanceDb: new Float32Array(bands.length * pairCount),
  };
  const before = k.mark();
  try {
    const scratch = k.alloc(4 * (trackCount * stft.binCount + 4 * sums.groupCount + 8));
    const [coherence, level, distance] = [0, 1, 2].map(() => k.allocF32(pairCount));
    bands.forEach(({ firstBin, endBin }, b) => {
      if (!(firstBin >= sums.firstBin && endBin > firstBin && endBin <= sums.endBin)) {
        throw new VolaryError('internal', { what: 'band outside the summed bins', got: `${firstBin} to ${endBin}`, expected: `inside ${sums.firstBin} to ${sums.endBin}` });
      }
      k.fn.compareTracks(sums.cross, sums.auto, trackCount, stft.binCount, firstBin, endBin, noise, spectrumCount, scratch, coherence, level, distance);
      result.coherence.set(k.f32(coherence, pairCount), b * pairCount);
      result.levelDb.set(k.f32(level, pairCount), b * pairCount);
      result.distanceDb.set(k.f32(distance, pairCount), b * pairCount);
    });
  } finally {
    k.release(before);
  }
  return result;
}
