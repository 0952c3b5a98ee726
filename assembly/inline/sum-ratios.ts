/**
 * Sum of p[i] / f[i] over count f32, 4-aligned, in two vectors of partial sums. Source: definition. Plain reference: test/reference/band-rise.ts.
 */
// @ts-ignore: decorator
@inline
export function sumRatios(p: usize, f: usize, count: i32): f32 {
  let sum = f32x4.splat(0), other = sum;
  const bytes = <usize>count << 2;
  let i: usize = 0;
  for (; i + 32 <= bytes; i += 32) {
    sum = f32x4.add(sum, f32x4.div(v128.load(p + i), v128.load(f + i)));
    other = f32x4.add(other, f32x4.div(v128.load(p + i, 16), v128.load(f + i, 16)));
  }
  for (; i + 16 <= bytes; i += 16) sum = f32x4.add(sum, f32x4.div(v128.load(p + i), v128.load(f + i)));
  sum = f32x4.add(sum, other);
  let total = (f32x4.extract_lane(sum, 0) + f32x4.extract_lane(sum, 1)) + (f32x4.extract_lane(sum, 2) + f32x4.extract_lane(sum, 3));
  for (; i < bytes; i += 4) total += load<f32>(p + i) / load<f32>(f + i);
  return total;
}
