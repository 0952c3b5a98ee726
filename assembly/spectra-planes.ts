/**
 * Between the spectra of a group of four tracks and planes per track.
 *
 * Formula: planes[t][0][s][b] = re X_t(s, b), planes[t][1][s][b] = im X_t(s, b), t = 0 .. 3, b = 0 .. bins-1.
 * planesFromSpectra reads spectra and writes planes; spectraFromPlanes does the reverse.
 *   spectraPtr [spectrumCount][bins][1][re x 4][im x 4] f32 (abi.ts), 16-aligned
 *   planesPtr  f32 [4][re, im][spectrumCount][bins], 4-aligned; those of tracks that do not exist are there all the same
 * Nothing may overlap. Values are moved, not computed: NaN and denormals stay as they are.
 * Source: common practice. Plain reference: test/reference/spectra-planes.ts.
 */
import { POINT_BYTES } from './abi';

export function planesFromSpectra(spectraPtr: usize, spectrumCount: i32, bins: i32, planesPtr: usize): void {
  const partBytes = (<usize>spectrumCount * <usize>bins) << 2, whole = <usize>(bins & ~3) << 2, end = <usize>bins << 2;
  for (let s = 0; s < spectrumCount; s++) {
    const source = spectraPtr + <usize>(s * bins) * POINT_BYTES, row = planesPtr + ((<usize>s * <usize>bins) << 2);
    for (let part: usize = 0; part < 2; part++) {
      const target = row + part * partBytes;
      let p = source + (part << 4), i: usize = 0;
      for (; i < whole; i += 16, p += 4 * POINT_BYTES) spread(p, target + i, 2 * partBytes);
      for (; i < end; i += 4, p += POINT_BYTES) {
        for (let t: usize = 0; t < 4; t++) store<f32>(target + i + t * 2 * partBytes, load<f32>(p + (t << 2)));
      }
    }
  }
}

export function spectraFromPlanes(planesPtr: usize, spectrumCount: i32, bins: i32, spectraPtr: usize): void {
  const partBytes = (<usize>spectrumCount * <usize>bins) << 2, whole = <usize>(bins & ~3) << 2, end = <usize>bins << 2;
  for (let s = 0; s < spectrumCount; s++) {
    const target = spectraPtr + <usize>(s * bins) * POINT_BYTES, row = planesPtr + ((<usize>s * <usize>bins) << 2);
    for (let part: usize = 0; part < 2; part++) {
      const source = row + part * partBytes;
      let p = target + (part << 4), i: usize = 0;
      for (; i < whole; i += 16, p += 4 * POINT_BYTES) gather(source + i, 2 * partBytes, p);
      for (; i < end; i += 4, p += POINT_BYTES) {
        for (let t: usize = 0; t < 4; t++) store<f32>(p + (t << 2), load<f32>(source + i + t * 2 * partBytes));
      }
    }
  }
}

/** Four points of four tracks to four bins of each track, tracks `stride` apart. */
// @ts-ignore: decorator
@inline
function spread(p: usize, target: usize, stride: usize): void {
  const a = v128.load(p), b = v128.load(p + POINT_BYTES), c = v128.load(p + 2 * POINT_BYTES), d = v128.load(p + 3 * POINT_BYTES);
  const ab = v128.shuffle<f32>(a, b, 0, 4, 1, 5), cd = v128.shuffle<f32>(c, d, 0, 4, 1, 5);
  const ef = v128.shuffle<f32>(a, b, 2, 6, 3, 7), gh = v128.shuffle<f32>(c, d, 2, 6, 3, 7);
  v128.store(target, v128.shuffle<f32>(ab, cd, 0, 1, 4, 5));
  v128.store(target + stride, v128.shuffle<f32>(ab, cd, 2, 3, 6, 7));
  v128.store(target + 2 * stride, v128.shuffle<f32>(ef, gh, 0, 1, 4, 5));
  v128.store(target + 3 * stride, v128.shuffle<f32>(ef, gh, 2, 3, 6, 7));
}

// @ts-ignore: decorator
@inline
function gather(source: usize, stride: usize, p: usize): void {
  const r0 = v128.load(source), r1 = v128.load(source + stride), r2 = v128.load(source + 2 * stride), r3 = v128.load(source + 3 * stride);
  const a = v128.shuffle<f32>(r0, r1, 0, 4, 1, 5), b = v128.shuffle<f32>(r2, r3, 0, 4, 1, 5);
  const c = v128.shuffle<f32>(r0, r1, 2, 6, 3, 7), d = v128.shuffle<f32>(r2, r3, 2, 6, 3, 7);
  v128.store(p, v128.shuffle<f32>(a, b, 0, 1, 4, 5));
  v128.store(p + POINT_BYTES, v128.shuffle<f32>(a, b, 2, 3, 6, 7));
  v128.store(p + 2 * POINT_BYTES, v128.shuffle<f32>(c, d, 0, 1, 4, 5));
  v128.store(p + 3 * POINT_BYTES, v128.shuffle<f32>(c, d, 2, 3, 6, 7));
}
