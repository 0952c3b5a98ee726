import { poolBins } from './crosstalk-levels.js';
import type { SeparationSettings } from './settings.js';

/** Width over which trust is pooled over frequency, Hz. */
const POOL_HZ = 2000;

/**
 * How far predicted crosstalk may be believed, 0 to 1 per bin: 1 / (1 + (doubt * L / D)^4), D its power and L the variance of what it leaves
 * behind, both summed over the windows that may hold the own voice and pooled over neighbouring bins.
 * Where paths are known from solo calls, D exceeds L by 12 dB and more and nothing changes. Paths that were learned from the stretch alone may
 * have learned the own voice, and L comes near D: then the track stays as it is. (A Wiener factor would be D / (D + L); the steeper one and
 * the doubts were found by trial: a path that is wrong states too small an L.)
 * @param predicted power of the crosstalk per bin, summed over the windows
 * @param left variance of what it leaves behind, of the same form
 */
export function weighTrust(predicted: ArrayLike<number>, left: ArrayLike<number>, doubt: number, settings: SeparationSettings): Float64Array {
  const width = (POOL_HZ * settings.fftSize) / settings.sampleRateHz;
  const d = poolBins(predicted, width), l = poolBins(left, width);
  return d.map((v, b) => {
    const square = ((doubt * l[b]) / (v + 1e-30)) ** 2;
    return 1 / (1 + square * square);
  });
}
