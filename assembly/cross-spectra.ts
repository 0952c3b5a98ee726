/**
 * Summed cross-spectra of all pairs and power spectra of all tracks, with the spectra whitened per track or not.
 *
 * Formula: U = X / |X| (whitening 1), X / sqrt|X| (2) or X (0); C_ij[k] += sum over s of m[s][k] conj(U_i) U_j,
 * A_i[k] += sum over s of m[s][k] |U_i|^2. A value whose |X|^2 is not finite, or below 1e-30 when whitening, counts as U = 0, so that
 * a NaN spoils nothing but its own place and silence adds nothing. C of a delay d of j against i turns as exp(-i 2 pi k d / n).
 *   spectraPtr read    as stft writes them
 *   maskPtr    read    f32[spectrumCount][binCount], values >= 0, or 0 for ones
 *   scratchPtr written BLOCK_BINS * groupCount points (32 bytes each)
 *   crossPtr   added   [2 G^2 rotations][binCount][re x 4][im x 4] f32 (inline/rotations.ts); the host clears it first
 *   autoPtr    added   [binCount][groupCount][x 4] f32; the host clears it first
 * Only bins firstBin .. endBin-1 are touched. Alignment 16 (maskPtr 4); nothing may overlap.
 * Source: Knapp & Carter 1976 (whitening); Carter, Knapp & Nuttall 1973 (averaging). Plain reference: test/reference/correlation.ts.
 */
import { countGroups, POINT_BYTES } from './abi';
import { countRotations, describeRotation, rotateLanes } from './inline/rotations';

/** Bins per block: the sums of eight tracks stay in the first cache. */
const BLOCK_BINS: i32 = 32;

export function addCrossSpectra(
  spectraPtr: usize, spectrumCount: i32, binCount: i32, trackCount: i32, firstBin: i32, endBin: i32, whitening: i32,
  maskPtr: usize, scratchPtr: usize, crossPtr: usize, autoPtr: usize,
): void {
  const groups = countGroups(trackCount);
  const rotations = countRotations(groups);
  const stride = <usize>groups * POINT_BYTES;
  for (let k = firstBin; k < endBin; k += BLOCK_BINS) {
    const count = min(BLOCK_BINS, endBin - k);
    for (let s = 0; s < spectrumCount; s++) {
      const row = <usize>s * <usize>binCount + <usize>k;
      const mask = maskPtr ? maskPtr + (row << 2) : 0;
      whitenBlock(spectraPtr + row * stride, count, groups, whitening, mask, scratchPtr, autoPtr + ((<usize>k * <usize>groups) << 4));
      for (let i = 0; i < rotations; i++) {
        const sums = crossPtr + (<usize>i * <usize>binCount + <usize>k) * POINT_BYTES;
        addRotation(describeRotation(i, groups), scratchPtr, stride, count, mask, sums);
      }
    }
  }
}

/** Bytes of the scratch. */
export function crossScratchBytes(trackCount: i32): i32 {
  return BLOCK_BINS * countGroups(trackCount) * <i32>POINT_BYTES;
}

function whitenBlock(source: usize, count: i32, groups: i32, whitening: i32, maskPtr: usize, target: usize, sums: usize): void {
  const least = f32x4.splat(whitening ? <f32>1e-30 : <f32>-1);
  const largest = f32x4.splat(f32.MAX_VALUE);
  const one = f32x4.splat(1);
  let weight = one;
  for (let k = 0; k < count; k++) {
    if (maskPtr) weight = v128.load_splat<f32>(maskPtr + (<usize>k << 2));
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

function addRotation(rotation: i32, whitePtr: usize, stride: usize, count: i32, mask: usize, sums: usize): void {
  const a = whitePtr + <usize>(rotation & 0xff) * POINT_BYTES;
  const b = whitePtr + <usize>((rotation >> 8) & 0xff) * POINT_BYTES;
  const r = rotation >> 16;
  if (r == 0) addShifted(a, b, 0, stride, count, mask, sums);
  else if (r == 1) addShifted(a, b, 1, stride, count, mask, sums);
  else if (r == 2) addShifted(a, b, 2, stride, count, mask, sums);
  else addShifted(a, b, 3, stride, count, mask, sums);
}

// @ts-ignore: decorator
@inline
function addShifted(a: usize, b: usize, r: i32, stride: usize, count: i32, mask: usize, sums: usize): void {
  const end = sums + <usize>count * POINT_BYTES;
  for (; sums < end; sums += POINT_BYTES, a += stride, b += stride) {
    const ar = v128.load(a), ai = v128.load(a, 16);
    const br = rotateLanes(v128.load(b), r), bi = rotateLanes(v128.load(b, 16), r);
    let re = f32x4.add(f32x4.mul(ar, br), f32x4.mul(ai, bi));
    let im = f32x4.sub(f32x4.mul(ar, bi), f32x4.mul(ai, br));
    if (mask) {
      const m = v128.load_splat<f32>(mask);
      re = f32x4.mul(re, m);
      im = f32x4.mul(im, m);
      mask += 4;
    }
    v128.store(sums, f32x4.add(v128.load(sums), re));
    v128.store(sums, f32x4.add(v128.load(sums, 16), im), 16);
  }
}
