/**
 * Binary logarithm of four positive normal f32.
 *
 * Formula: x = 2^e m with sqrt(1/2) <= m < sqrt(2); s = (m - 1) / (m + 1); log2 x = e + (2 / ln 2) (s + s^3 / 3 + s^5 / 5 + s^7 / 7 + s^9 / 9).
 * The first term left out is below 2e-9 of the result; rounding stays below 2e-7 (|e| + 1). 0, denormal, negative and NaN inputs give
 * numbers without meaning. Source: series of the inverse hyperbolic tangent. Plain reference: Math.log2.
 */

/** 2 / ln 2. */
const SCALE: f32 = 2.8853900817779268;
/** Bits of the f32 next to sqrt(1/2). */
const HALF_ROOT_BITS: i32 = 0x3f3504f3;

// @ts-ignore: decorator
@inline
export function log2Vector(x: v128): v128 {
  const above = i32x4.sub(x, i32x4.splat(HALF_ROOT_BITS));
  const exponent = i32x4.shr_s(above, 23);
  const m = i32x4.sub(x, i32x4.shl(exponent, 23));
  const s = f32x4.div(f32x4.sub(m, f32x4.splat(1)), f32x4.add(m, f32x4.splat(1)));
  const q = f32x4.mul(s, s);
  let p = f32x4.add(f32x4.mul(q, f32x4.splat(SCALE / 9)), f32x4.splat(SCALE / 7));
  p = f32x4.add(f32x4.mul(q, p), f32x4.splat(SCALE / 5));
  p = f32x4.add(f32x4.mul(q, p), f32x4.splat(SCALE / 3));
  p = f32x4.add(f32x4.mul(q, p), f32x4.splat(SCALE));
  return f32x4.add(f32x4.convert_i32x4_s(exponent), f32x4.mul(s, p));
}
