/**
 * Summed cross-spectra of all pairs and power spectra of all tracks, with the spectra whitened per track or not.
 *
 * Formula: U = X / |X| (whitening 1), X / sqrt|X| (2) or X (0); C_ij[k] += sum over s of m[s][k] conj(U_i) U_j,
 * A_i[k] += sum over s of m[s][k] |U_i|^2. A value whose |X|^2 is not finite, or below 1e-30 when whitening, counts as U = 0, so that
 * a NaN spoils nothing but its own place and silence adds nothing. C of a delay d of j against i turns as exp(-i 2 pi k d / n).
 *   spectraPtr read    as stft writes them
 *   maskPtr    read    f32[spectrumCount][binCount], values >= 0, or 0 for ones
 *   scratchPtr written crossScratchBytes(trackCount): the whitened spectra of a few bins
 *   crossPtr   added   [2 G^2 rotations][binCount][re x 4][im x 4] f32 (inline/rotations.ts); the host clears it first
 *   autoPtr    added   [binCount][groupCount][x 4] f32; the host clears it first
 * Only bins firstBin .. endBin-1 are touched. Alignment 16 (maskPtr 4); nothing may overlap.
 * Source: Knapp & Carter 1976 (whitening); Carter, Knapp & Nuttall 1973 (averaging). Plain reference: test/reference/correlation.ts.
 */
import { countGroups, POINT_BYTES } from './abi';
import { countRotations, describeRotation, rotateLanes } from './inline/rotations';

/** Bins and spectra of a block: the whitened values of eight tracks stay in the first cache, the sums of a bin in registers. */
const BLOCK_BINS: i32 = 8;
const BLOCK_SPECTRA: i32 = 64;
/** Bytes between bins of a block beside their values: bins must not all fall on the same cache lines. */
const PAD_BYTES: usize = 64;

export function addCrossSpectra(
  spectraPtr: usize, spectrumCount: i32, binCount: i32, trackCount: i32, firstBin: i32, endBin: i32, whitening: i32,
  maskPtr: usize, scratchPtr: usize, crossPtr: usize, autoPtr: usize,
): void {
  const groups = countGroups(trackCount);
  const rotations = countRotations(groups);
  const stride = <usize>groups * POINT_BYTES, rowBytes = <usize>BLOCK_SPECTRA * stride + PAD_BYTES;
  for (let k = firstBin; k < endBin; k += BLOCK_BINS) {
    const count = min(BLOCK_BINS, endBin - k);
    for (let first = 0; first < spectrumCount; first += BLOCK_SPECTRA) {
      const spectra = min(BLOCK_SPECTRA, spectrumCount - first);
      const from = <usize>first * <usize>binCount + <usize>k;
      const mask = maskPtr ? maskPtr + (from << 2) : 0;
      for (let s = 0; s < spectra; s++) {
        const row = <usize>s * <usize>binCount;
        whitenRow(
          spectraPtr + (from + row) * stride, count, groups, whitening, mask ? mask + (row << 2) : 0, scratchPtr + <usize>s * stride, rowBytes,
          autoPtr + ((<usize>k * <usize>groups) << 4),
        );
      }
      for (let i = 0; i < rotations; i += 2) {
        const sums = crossPtr + (<usize>i * <usize>binCount + <usize>k) * POINT_BYTES;
        addRotations(describeRotation(i, groups), scratchPtr, rowBytes, stride, spectra, count, mask, <usize>binCount, sums);
      }
    }
  }
}

/** Bytes of the scratch. */
export function crossScratchBytes(trackCount: i32): i32 {
  return BLOCK_BINS * (BLOCK_SPECTRA * countGroups(trackCount) * <i32>POINT_BYTES + <i32>PAD_BYTES);
}

/** Bins of one spectrum, whitened, to places targetBytes apart. */
function whitenRow(source: usize, count: i32, groups: i32, whitening: i32, maskPtr: usize, targetPtr: usize, targetBytes: usize, sums: usize): void {
  const least = f32x4.splat(whitening ? <f32>1e-30 : <f32>-1);
  const largest = f32x4.splat(f32.MAX_VALUE);
  const one = f32x4.splat(1);
  let weight = one;
  for (let k = 0; k < count; k++) {
    if (maskPtr) weight = v128.load_splat<f32>(maskPtr + (<usize>k << 2));
    let target = targetPtr + <usize>k * targetBytes;
    for (let g = 0; g < groups; g++) {
      let re = v128.load(source), im = v128.load(source, 16);
      let power = f32x4.add(f32x4.mul(re, re), f32x4.mul(im, im));
      const isUsable = v128.and(f32x4.gt(power, least), f32x4.le(power, largest));
      if (whitening) {
        let size = f32x4.sqrt(power);
        if (whitening == 2) size = f32x4.sqrt(size);
        const factor = f32x4.div(one, size);
        re = f32x4.mul(re, factor);
        im = f32x4.mul(im, factor);
        power = f32x4.add(f32x4.mul(re, re), f32x4.mul(im, im));
      }
      v128.store(target, v128.and(re, isUsable));
      v128.store(target, v128.and(im, isUsable), 16);
      v128.store(sums, f32x4.add(v128.load(sums), f32x4.mul(weight, v128.and(power, isUsable))));
      source += POINT_BYTES;
      target += POINT_BYTES;
      sums += 16;
    }
  }
}

/** A rotation and the next one, which pairs the same groups: two at a time share what they load. */
function addRotations(rotation: i32, whitePtr: usize, rowBytes: usize, stride: usize, spectra: i32, count: i32, mask: usize, binCount: usize, sums: usize): void {
  let a = whitePtr + <usize>(rotation & 0xff) * POINT_BYTES, b = whitePtr + <usize>((rotation >> 8) & 0xff) * POINT_BYTES;
  const r = rotation >> 16, next = binCount * POINT_BYTES, maskBytes = binCount << 2;
  for (let k = 0; k < count; k++, a += rowBytes, b += rowBytes, sums += POINT_BYTES) {
    if (r == 0) addTwo(a, b, 0, 1, stride, spectra, mask, maskBytes, sums, sums + next);
    else if (r == 1) addTwo(a, b, 1, 2, stride, spectra, mask, maskBytes, sums, sums + next);
    else addTwo(a, b, 2, 3, stride, spectra, mask, maskBytes, sums, sums + next);
    if (mask) mask += 4;
  }
}

/** One bin of two rotations, summed over the spectra of the block. */
// @ts-ignore: decorator
@inline
function addTwo(a: usize, b: usize, r: i32, q: i32, stride: usize, spectra: i32, mask: usize, maskBytes: usize, first: usize, second: usize): void {
  let re = v128.load(first), im = v128.load(first, 16), other = v128.load(second), turned = v128.load(second, 16);
  const end = a + <usize>spectra * stride;
  for (; a < end; a += stride, b += stride) {
    const ar = v128.load(a), ai = v128.load(a, 16), br = v128.load(b), bi = v128.load(b, 16);
    const cr = rotateLanes(br, r), ci = rotateLanes(bi, r), dr = rotateLanes(br, q), di = rotateLanes(bi, q);
    let x = f32x4.add(f32x4.mul(ar, cr), f32x4.mul(ai, ci)), y = f32x4.sub(f32x4.mul(ar, ci), f32x4.mul(ai, cr));
    let u = f32x4.add(f32x4.mul(ar, dr), f32x4.mul(ai, di)), v = f32x4.sub(f32x4.mul(ar, di), f32x4.mul(ai, dr));
    if (mask) {
      const m = v128.load_splat<f32>(mask);
      x = f32x4.mul(x, m); y = f32x4.mul(y, m); u = f32x4.mul(u, m); v = f32x4.mul(v, m);
      mask += maskBytes;
    }
    re = f32x4.add(re, x); im = f32x4.add(im, y); other = f32x4.add(other, u); turned = f32x4.add(turned, v);
  }
  v128.store(first, re); v128.store(first, im, 16); v128.store(second, other); v128.store(second, turned, 16);
}
