import type { FloorSpectrum } from './floors.js';
import type { StretchSpectra } from './spectra.js';

const QUANTILE = 0.4;
/** Exponential noise exceeds this many times its 40 % quantile in one bin of eight: what sticks out is not noise alone. */
const OVER_QUANTILE = 4;

/**
 * Broadband pedestal of a track per frame, as a multiple of its floor: 4 times the 40 % quantile over the band of power over floor, at least 1.
 * Wing beats and preening lift all bins of their wearer's track; a call on top of them is what rises over the pedestal.
 * Frames quieter than `leastDb` keep 1.
 */
export function findPedestal(
  s: StretchSpectra, floor: FloorSpectrum, track: number, levelDb: Float32Array, bins: readonly [number, number], leastDb: number,
): Float32Array {
  const rank = Math.floor(QUANTILE * (bins[1] - bins[0]));
  if (s.kernels?.fitsBand(bins)) return s.kernels.findPedestal(floor, track, levelDb, bins, leastDb, rank, OVER_QUANTILE);
  const out = new Float32Array(s.frameCount).fill(1);
  const ratio = new Float32Array(bins[1] - bins[0]);
  const p = s.power[track];
  for (let t = 0; t < s.frameCount; t++) {
    if (levelDb[t] < leastDb) continue;
    for (let b = bins[0]; b < bins[1]; b++) ratio[b - bins[0]] = p[t * s.binCount + b] / floor[b];
    ratio.sort();
    out[t] = Math.max(1, OVER_QUANTILE * ratio[rank]);
  }
  return out;
}
