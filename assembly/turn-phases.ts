/**
 * Turns spectra by a phase that grows from bin to bin: a shift in time.
 *
 * Formula: X(k, b) becomes X(k, b) step(k)^b, b = 0 .. width-1, step(k) a complex number of magnitude 1.
 *   planesPtr read and written re [frameCount][width] then im, f32, 16-aligned; width is a multiple of 4
 *   stepPtr   read f64 [frameCount][re, im], 8-aligned; must not overlap the planes
 * Powers are taken by repeated products in double precision, four bins at a time: the error grows by 2e-16 per four bins. A NaN stays in its bin.
 * Source: shift theorem. Plain reference: test/reference/bin-rows.ts.
 */

export function turnPhases(planesPtr: usize, frameCount: i32, width: i32, stepPtr: usize): void {
  const rowBytes = <usize>width << 2, imOffset = <usize>frameCount * rowBytes;
  for (let k = 0; k < frameCount; k++) {
    const c = load<f64>(stepPtr + (<usize>k << 4)), s = load<f64>(stepPtr + (<usize>k << 4), 8);
    const c2 = c * c - s * s, s2 = 2 * c * s, c3 = c2 * c - s2 * s, s3 = c2 * s + s2 * c, stepRe = f64x2.splat(c2 * c2 - s2 * s2), stepIm = f64x2.splat(2 * c2 * s2);
    let reLow = f64x2.replace_lane(f64x2.splat(1), 1, c), imLow = f64x2.replace_lane(f64x2.splat(0), 1, s);
    let reHigh = f64x2.replace_lane(f64x2.splat(c2), 1, c3), imHigh = f64x2.replace_lane(f64x2.splat(s2), 1, s3);
    const row = planesPtr + <usize>k * rowBytes;
    for (let p = row; p < row + rowBytes; p += 16) {
      const turnRe = joinPairs(reLow, reHigh), turnIm = joinPairs(imLow, imHigh), re = v128.load(p), im = v128.load(p + imOffset);
      v128.store(p, f32x4.sub(f32x4.mul(re, turnRe), f32x4.mul(im, turnIm)));
      v128.store(p + imOffset, f32x4.add(f32x4.mul(re, turnIm), f32x4.mul(im, turnRe)));
      const low = reLow, high = reHigh;
      reLow = f64x2.sub(f64x2.mul(low, stepRe), f64x2.mul(imLow, stepIm)); imLow = f64x2.add(f64x2.mul(low, stepIm), f64x2.mul(imLow, stepRe));
      reHigh = f64x2.sub(f64x2.mul(high, stepRe), f64x2.mul(imHigh, stepIm)); imHigh = f64x2.add(f64x2.mul(high, stepIm), f64x2.mul(imHigh, stepRe));
    }
  }
}

// @ts-ignore: decorator
@inline
function joinPairs(low: v128, high: v128): v128 {
  return v128.shuffle<f32>(f32x4.demote_f64x2_zero(low), f32x4.demote_f64x2_zero(high), 0, 1, 4, 5);
}
