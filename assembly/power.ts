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
  const total = spectrumCount * binCount;
  writePower(spectraPtr, total, trackCount, scale, powerPtr, <usize>total << 2);
}

/** Power of `count` bins that lie together, to rows of tracks `rowBytes` apart. */
export function writePower(spectraPtr: usize, count: i32, trackCount: i32, scale: f32, powerPtr: usize, rowBytes: usize): void {
  const groups = countGroups(trackCount);
  const stride = <usize>groups * POINT_BYTES;
  const factor = f32x4.splat(scale);
  for (let g = 0; g < groups; g++) {
    const a = spectraPtr + <usize>g * POINT_BYTES;
    const o = powerPtr + <usize>(4 * g) * rowBytes;
    const tracks = min(4, trackCount - 4 * g);
    // Four bins of four tracks are turned round in registers; a group that is not full goes bin by bin.
    const whole = tracks == 4 ? count & ~3 : 0;
    if (whole) writeWhole(a, stride, whole, factor, o, rowBytes);
    for (let k = whole; k < count; k++) {
      const p = powerOf(a + <usize>k * stride, factor);
      const at = o + (<usize>k << 2);
      v128.store_lane<f32>(at, p, 0);
      if (tracks > 1) v128.store_lane<f32>(at + rowBytes, p, 1);
      if (tracks > 2) v128.store_lane<f32>(at + 2 * rowBytes, p, 2);
      if (tracks > 3) v128.store_lane<f32>(at + 3 * rowBytes, p, 3);
    }
  }
}

// @ts-ignore: decorator
@inline
function powerOf(a: usize, factor: v128): v128 {
  const re = v128.load(a), im = v128.load(a, 16);
  return f32x4.mul(factor, f32x4.add(f32x4.mul(re, re), f32x4.mul(im, im)));
}

function writeWhole(from: usize, stride: usize, count: i32, factor: v128, to: usize, rowBytes: usize): void {
  const end = to + (<usize>count << 2);
  let a = from;
  for (let o = to; o < end; o += 16) {
    const p = powerOf(a, factor), q = powerOf(a + stride, factor), r = powerOf(a + 2 * stride, factor), s = powerOf(a + 3 * stride, factor);
    const t = v128.shuffle<f32>(p, q, 0, 4, 1, 5), u = v128.shuffle<f32>(r, s, 0, 4, 1, 5);
    const v = v128.shuffle<f32>(p, q, 2, 6, 3, 7), w = v128.shuffle<f32>(r, s, 2, 6, 3, 7);
    v128.store(o, v128.shuffle<f32>(t, u, 0, 1, 4, 5));
    v128.store(o + rowBytes, v128.shuffle<f32>(t, u, 2, 3, 6, 7));
    v128.store(o + 2 * rowBytes, v128.shuffle<f32>(v, w, 0, 1, 4, 5));
    v128.store(o + 3 * rowBytes, v128.shuffle<f32>(v, w, 2, 3, 6, 7));
    a += 4 * stride;
  }
}
