/**
 * Between the spectra of a group of up to four tracks and planes per track, whose rows are padded to whole vectors.
 *
 * Formula: planes[t][0][s][b] = re X_t(s, b), planes[t][1][s][b] = im X_t(s, b), t = 0 .. trackCount-1, b = 0 .. bins-1.
 * planesFromSpectra reads spectra and writes planes, 0 behind the last bin; spectraFromPlanes does the reverse, 0 in lanes without a track.
 *   spectraPtr [spectrumCount][bins][1][re x 4][im x 4] f32 (abi.ts), 16-aligned
 *   planesPtr  f32 [trackCount][re, im][spectrumCount][width], 16-aligned; width is a multiple of 4 in bins .. bins + 3
 * Nothing may overlap. Values are moved, not computed: NaN and denormals stay as they are.
 * Source: common practice. Plain reference: test/reference/spectra-planes.ts.
 */
import { POINT_BYTES } from './abi';

export function planesFromSpectra(spectraPtr: usize, spectrumCount: i32, bins: i32, trackCount: i32, width: i32, planesPtr: usize): void {
  const rowBytes = <usize>width << 2, partBytes = <usize>spectrumCount * rowBytes, whole = <usize>(bins & ~3) << 2, end = <usize>bins << 2;
  for (let s = 0; s < spectrumCount; s++) {
    const source = spectraPtr + <usize>(s * bins) * POINT_BYTES, row = planesPtr + <usize>s * rowBytes;
    for (let part: usize = 0; part < 2; part++) {
      const target = row + part * partBytes;
      let p = source + (part << 4), i: usize = 0;
      for (; i < whole; i += 16, p += 4 * POINT_BYTES) spread(p, target + i, 2 * partBytes, trackCount);
      if (i < rowBytes) for (let t = 0; t < trackCount; t++) v128.store(target + i + <usize>t * 2 * partBytes, f32x4.splat(0));
      for (; i < end; i += 4, p += POINT_BYTES) {
        for (let t = 0; t < trackCount; t++) store<f32>(target + i + <usize>t * 2 * partBytes, load<f32>(p + (<usize>t << 2)));
      }
    }
  }
}

export function spectraFromPlanes(planesPtr: usize, spectrumCount: i32, bins: i32, trackCount: i32, width: i32, spectraPtr: usize): void {
  const rowBytes = <usize>width << 2, partBytes = <usize>spectrumCount * rowBytes, whole = <usize>(bins & ~3) << 2, end = <usize>bins << 2;
  for (let s = 0; s < spectrumCount; s++) {
    const target = spectraPtr + <usize>(s * bins) * POINT_BYTES, row = planesPtr + <usize>s * rowBytes;
    for (let part: usize = 0; part < 2; part++) {
      const source = row + part * partBytes;
      let p = target + (part << 4), i: usize = 0;
      for (; i < whole; i += 16, p += 4 * POINT_BYTES) gather(source + i, 2 * partBytes, trackCount, p);
      for (; i < end; i += 4, p += POINT_BYTES) {
        v128.store(p, f32x4.splat(0));
        for (let t = 0; t < trackCount; t++) store<f32>(p + (<usize>t << 2), load<f32>(source + i + <usize>t * 2 * partBytes));
      }
    }
  }
}

/** Four points of four tracks to four bins of each track, tracks `stride` apart. */
// @ts-ignore: decorator
@inline
function spread(p: usize, target: usize, stride: usize, trackCount: i32): void {
  const a = v128.load(p), b = v128.load(p + POINT_BYTES), c = v128.load(p + 2 * POINT_BYTES), d = v128.load(p + 3 * POINT_BYTES);
  const ab = v128.shuffle<f32>(a, b, 0, 4, 1, 5), cd = v128.shuffle<f32>(c, d, 0, 4, 1, 5);
  const ef = v128.shuffle<f32>(a, b, 2, 6, 3, 7), gh = v128.shuffle<f32>(c, d, 2, 6, 3, 7);
  v128.store(target, v128.shuffle<f32>(ab, cd, 0, 1, 4, 5));
  if (trackCount > 1) v128.store(target + stride, v128.shuffle<f32>(ab, cd, 2, 3, 6, 7));
  if (trackCount > 2) v128.store(target + 2 * stride, v128.shuffle<f32>(ef, gh, 0, 1, 4, 5));
  if (trackCount > 3) v128.store(target + 3 * stride, v128.shuffle<f32>(ef, gh, 2, 3, 6, 7));
}

// @ts-ignore: decorator
@inline
function gather(source: usize, stride: usize, trackCount: i32, p: usize): void {
  const zero = f32x4.splat(0), r0 = v128.load(source);
  const r1 = trackCount > 1 ? v128.load(source + stride) : zero, r2 = trackCount > 2 ? v128.load(source + 2 * stride) : zero, r3 = trackCount > 3 ? v128.load(source + 3 * stride) : zero;
  const a = v128.shuffle<f32>(r0, r1, 0, 4, 1, 5), b = v128.shuffle<f32>(r2, r3, 0, 4, 1, 5);
  const c = v128.shuffle<f32>(r0, r1, 2, 6, 3, 7), d = v128.shuffle<f32>(r2, r3, 2, 6, 3, 7);
  v128.store(p, v128.shuffle<f32>(a, b, 0, 1, 4, 5));
  v128.store(p + POINT_BYTES, v128.shuffle<f32>(a, b, 2, 3, 6, 7));
  v128.store(p + 2 * POINT_BYTES, v128.shuffle<f32>(c, d, 0, 1, 4, 5));
  v128.store(p + 3 * POINT_BYTES, v128.shuffle<f32>(c, d, 2, 3, 6, 7));
}
