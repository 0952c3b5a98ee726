import type { SetLevels } from '../kernels/stretch-kernels.js';
import { log10, pow10 } from '../numeric/elementary.js';
import type { FloorSpectrum } from './floors.js';
import type { StretchSpectra } from './spectra.js';

/** Who owns each time-frequency bin: the track that leads after its receiver gain is taken out. 255 = nobody above the floor. */
export interface OwnershipMap {
  owner: Uint8Array;
  /** Lead of the owner over the second track, dB (smoothed powers). */
  leadDb: Float32Array;
}

const LEAST_SNR = 4;

/**
 * Ownership of the bins of a stretch. Powers are floor-subtracted, smoothed over 3 frames x 3 bins and divided by the gain;
 * a bin is owned by the track with the largest value if that track's own power exceeds 4 times its floor.
 * @param gainDb receiver gain per track, dB (any common offset)
 * @param lost per track one byte per frame: excluded from ownership
 */
export function mapOwnership(
  s: StretchSpectra, floors: readonly FloorSpectrum[], gainDb: ArrayLike<number>, lost: readonly Uint8Array[], bins: readonly [number, number],
): OwnershipMap {
  const scale = Float64Array.from(s.power, (_, j) => pow10(-gainDb[j] / 10));
  if (s.kernels?.fitsBand(bins)) return s.kernels.mapOwnership(floors, scale, lost, bins, LEAST_SNR);
  const { frameCount, binCount, trackCount } = s;
  const size = frameCount * binCount;
  const owner = new Uint8Array(size).fill(255);
  const best = new Float32Array(size);
  const second = new Float32Array(size);
  const smooth = new Float32Array(size);
  for (let j = 0; j < trackCount; j++) {
    smoothPower(s.power[j], frameCount, binCount, bins, smooth);
    for (let t = 0; t < frameCount; t++) {
      if (lost[j][t]) continue;
      for (let b = bins[0]; b < bins[1]; b++) {
        const k = t * binCount + b;
        const excess = smooth[k] - floors[j][b];
        const q = excess * scale[j];
        if (q > best[k]) {
          second[k] = best[k];
          best[k] = q;
          owner[k] = smooth[k] > LEAST_SNR * floors[j][b] ? j : 255;
        } else if (q > second[k]) second[k] = q;
      }
    }
  }
  const leadDb = new Float32Array(size);
  for (let k = 0; k < size; k++) leadDb[k] = owner[k] === 255 ? 0 : Math.min(60, 10 * log10(best[k] / Math.max(second[k], 1e-30)));
  return { owner, leadDb };
}

/**
 * Energy of the bins a track owns over their floor, per frame. With a pedestal (a multiple of the floor per frame) only what rises over it
 * counts, bin by bin, in frames where it is not 1.
 */
export function sumOwned(
  s: StretchSpectra, floor: FloorSpectrum, owner: Uint8Array, track: number, bins: readonly [number, number], pedestal?: Float32Array,
): Float32Array {
  if (s.kernels?.knowsOwner(owner, bins)) return s.kernels.sumOwned(floor, track, pedestal);
  const out = new Float32Array(s.frameCount);
  const p = s.power[track];
  for (let t = 0; t < s.frameCount; t++) {
    const lift = pedestal ? pedestal[t] : 1;
    let a = 0;
    for (let b = bins[0]; b < bins[1]; b++) {
      const k = t * s.binCount + b;
      if (owner[k] !== track) continue;
      const excess = p[k] - lift * floor[b];
      if (lift === 1 || excess > 0) a += excess;
    }
    out[t] = a;
  }
  return out;
}

/** Power over the floor of every track over a set of bins, below and from a bin on, and the floor's power there. */
export function sumLevels(s: StretchSpectra, floors: readonly FloorSpectrum[], set: Uint32Array, splitBin: number): SetLevels {
  const sums = { low: new Float64Array(s.trackCount), high: new Float64Array(s.trackCount), noise: new Float64Array(s.trackCount) };
  for (let j = 0; j < s.trackCount; j++) {
    for (let q = 0; q < set.length; q++) {
      const bin = set[q] % s.binCount;
      const excess = s.power[j][set[q]] - floors[j][bin];
      sums.noise[j] += floors[j][bin];
      if (bin < splitBin) sums.low[j] += excess; else sums.high[j] += excess;
    }
  }
  return sums;
}

/** Box mean over 3 frames and 3 bins inside the band. */
function smoothPower(p: Float32Array, frameCount: number, binCount: number, bins: readonly [number, number], out: Float32Array): void {
  const [lo, hi] = bins;
  const row = new Float32Array(binCount * frameCount);
  for (let t = 0; t < frameCount; t++) {
    const o = t * binCount;
    for (let b = lo; b < hi; b++) row[o + b] = (p[o + b - 1] + p[o + b] + p[o + Math.min(binCount - 1, b + 1)]) / 3;
  }
  for (let t = 0; t < frameCount; t++) {
    const o = t * binCount;
    const a = Math.max(0, t - 1) * binCount;
    const c = Math.min(frameCount - 1, t + 1) * binCount;
    for (let b = lo; b < hi; b++) out[o + b] = (row[a + b] + row[o + b] + row[c + b]) / 3;
  }
}
