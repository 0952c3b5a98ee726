/**
 * a b + c and c - a b. The default kernels round twice, alike on every machine; those built with relaxed vector instructions round once where the
 * processor can (fused multiply-add), twice elsewhere. Source: definition. Plain reference: the same in f64.
 */

// @ts-ignore: decorator
@inline
export function multiplyAdd(a: v128, b: v128, c: v128): v128 {
  if (ASC_FEATURE_RELAXED_SIMD) return f32x4.relaxed_madd(a, b, c);
  return f32x4.add(f32x4.mul(a, b), c);
}

// @ts-ignore: decorator
@inline
export function subtractProduct(a: v128, b: v128, c: v128): v128 {
  if (ASC_FEATURE_RELAXED_SIMD) return f32x4.relaxed_nmadd(a, b, c);
  return f32x4.sub(c, f32x4.mul(a, b));
}
