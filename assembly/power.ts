/**
 * Power per track, bin and spectrum.
 *
 * Formula: P[t][s][k] = scale * |X_t(s, k)|^2.
 *   spectraPtr read    [spectrumCount][binCount][groupCount][re x 4][im x 4] f32, 16-aligned
 *   powerPtr   written [trackCount][spectrumCount][binCount] f32, 4-aligned; must not overlap spectraPtr
 * Squares below about 1e-38 are denormal or 0. A NaN stays at its own place.
 * Source: definition. Plain reference: test/reference/stft.ts.
 */
import { countGroups, POINT_BYTES } from './abi';

export function powerFromSpectra(spectraPtr: usize, spectrumCount: i32, binCount: i32, trackCount: i32, scale: f32, powerPtr: usize): void {
  const groups = countGroups(trackCount);
  const total = <usize>spectrumCount * <usize>binCount;
  const stride = <usize>groups * POINT_BYTES;
  const row = total << 2;
  const factor = f32x4.splat(scale);
  for (let g = 0; g < groups; g++) {
    const tracks = min(4, trackCount - 4 * g);
    let a = spectraPtr + <usize>g * POINT_BYTES;
    let o = powerPtr + <usize>(4 * g) * row;
    const end = o + row;
    for (; o < end; o += 4) {
      const re = v128.load(a), im = v128.load(a, 16);
      const p = f32x4.mul(factor, f32x4.add(f32x4.mul(re, re), f32x4.mul(im, im)));
      v128.store_lane<f32>(o, p, 0);
      if (tracks > 1) v128.store_lane<f32>(o + row, p, 1);
      if (tracks > 2) v128.store_lane<f32>(o + 2 * row, p, 2);
      if (tracks > 3) v128.store_lane<f32>(o + 3 * row, p, 3);
      a += stride;
    }
  }
}
