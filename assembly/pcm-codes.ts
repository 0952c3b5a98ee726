/**
 * Samples as little-endian integers of a file.
 *
 * Formula: code[i] = floor(fullScale x[i] + 1/2), clipped to -fullScale .. fullScale - 1; NaN becomes 0. fullScale is 2^15 for 16 bit, 2^23 for 24.
 *   samplesPtr read    f32[count], 4-aligned
 *   codesPtr   written 2 count or 3 count bytes, no alignment; must not overlap the samples
 * Exact: scaling by a power of two is, and halves are known by what rounding leaves; adding 1/2 would round once more.
 * Source: definition. Plain reference: test/reference/survey.ts.
 */
const HIGH_24: i32 = 8388607;

export function codes16(samplesPtr: usize, count: i32, codesPtr: usize): void {
  const end = samplesPtr + (<usize>count << 2);
  let p = samplesPtr, o = codesPtr;
  for (; p + 32 <= end; p += 32, o += 16) v128.store(o, i16x8.narrow_i32x4_s(round(v128.load(p), 32768), round(v128.load(p, 16), 32768)));
  for (; p < end; p += 4, o += 2) {
    const codes = round(v128.load_splat<f32>(p), 32768);
    store<i16>(o, i16x8.extract_lane_s(i16x8.narrow_i32x4_s(codes, codes), 0));
  }
}

export function codes24(samplesPtr: usize, count: i32, codesPtr: usize): void {
  const end = samplesPtr + (<usize>count << 2);
  let p = samplesPtr, o = codesPtr;
  for (; p + 16 <= end; p += 16, o += 12) {
    const codes = clip24(round(v128.load(p), 8388608)), bytes = v128.shuffle<i8>(codes, codes, 0, 1, 2, 4, 5, 6, 8, 9, 10, 12, 13, 14, 0, 0, 0, 0);
    v128.store_lane<i64>(o, bytes, 0);
    v128.store_lane<i32>(o, bytes, 2, 8);
  }
  for (; p < end; p += 4, o += 3) {
    const code = i32x4.extract_lane(clip24(round(v128.load_splat<f32>(p), 8388608)), 0);
    store<i16>(o, <i16>code);
    store<i8>(o, <i8>(code >> 16), 2);
  }
}

/** Rounded, halves up; beyond i32 the nearest i32. */
// @ts-ignore: decorator
@inline
function round(x: v128, fullScale: f32): v128 {
  const v = f32x4.mul(x, f32x4.splat(fullScale)), even = f32x4.nearest(v);
  // The nearest whole number, halves to the even one; a half that was rounded down goes up.
  const isDown = f32x4.eq(f32x4.sub(v, even), f32x4.splat(0.5));
  return i32x4.trunc_sat_f32x4_s(f32x4.add(even, v128.and(isDown, f32x4.splat(1))));
}

// @ts-ignore: decorator
@inline
function clip24(codes: v128): v128 {
  return i32x4.max_s(i32x4.min_s(codes, i32x4.splat(HIGH_24)), i32x4.splat(-HIGH_24 - 1));
}
