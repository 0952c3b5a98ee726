import { poolBins } from './crosstalk-levels.js';
import type { Planes } from './planes.js';
import type { SeparationSettings } from './settings.js';

/** Width over which trust is pooled over frequency, Hz. */
const POOL_HZ = 2000;

/**
 * How far predicted crosstalk may be believed, 0 to 1 per bin: 1 / (1 + (doubt * L / D)^4), D its power and L the variance of what it leaves
 * behind, both summed over the windows that may hold the own voice and pooled over neighbouring bins.
 * Where paths are known from solo calls, D exceeds L by 12 dB and more and nothing changes. Paths that were learned from the stretch alone may
 * have learned the own voice, and L comes near D: then the track stays as it is. (A Wiener factor would be D / (D + L); the steeper one and
 * the doubts were found by trial: a path that is wrong states too small an L.)
 */
export function weighTrust(crosstalk: Planes, leftover: Float32Array, active: Uint8Array, doubt: number, settings: SeparationSettings): Float64Array {
  const { frameCount, binCount } = crosstalk, width = (POOL_HZ * settings.fftSize) / settings.sampleRateHz;
  const predicted = new Float64Array(binCount), left = new Float64Array(binCount);
  for (let k = 0, i = 0; k < frameCount; k++) {
    if (!active[k]) { i += binCount; continue; }
    for (let b = 0; b < binCount; b++, i++) {
      predicted[b] += crosstalk.re[i] * crosstalk.re[i] + crosstalk.im[i] * crosstalk.im[i];
      left[b] += leftover[i];
    }
  }
  const d = poolBins(predicted, width), l = poolBins(left, width);
  return d.map((v, b) => {
    const square = ((doubt * l[b]) / (v + 1e-30)) ** 2;
    return 1 / (1 + square * square);
  });
}

/** Takes the trusted part of the crosstalk off the observed spectra. */
export function removeTrusted(observed: Planes, crosstalk: Planes, trust: Float64Array): Planes {
  const re = new Float32Array(observed.re.length), im = new Float32Array(observed.re.length);
  for (let i = 0, b = 0; i < re.length; i++) {
    re[i] = observed.re[i] - trust[b] * crosstalk.re[i]; im[i] = observed.im[i] - trust[b] * crosstalk.im[i];
    if (++b === trust.length) b = 0;
  }
  return { ...observed, re, im };
}
