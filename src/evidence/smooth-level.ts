import { log10 } from '../numeric/elementary.js';
import type { StretchSpectra } from './spectra.js';

/** Sums per frame over that of the floor, smoothed over three frames (1 2 1), dB; -30 where there is next to nothing. */
export function smoothLevel(s: StretchSpectra, sums: Float32Array, floorSum: number): Float32Array {
  if (s.kernels) return s.kernels.smoothLevel(sums, floorSum);
  const out = new Float32Array(sums.length);
  for (let t = 0; t < sums.length; t++) {
    const share = (u: number): number => (u >= 0 && u < sums.length ? Math.fround(sums[u] / floorSum) : 0);
    const mean = (2 * share(t) + share(t - 1) + share(t + 1)) / 4;
    out[t] = mean > 1e-3 ? 10 * log10(mean) : -30;
  }
  return out;
}
