/**
 * Inner products of one pattern of a voice with others (see voice-pattern.ts).
 *
 * Formula: out[k] = sum over i = 0 .. 95 of pattern[first][i] * pattern[others[k]][i], exact.
 *   patternsPtr read    i8 [pattern][96]
 *   othersPtr   read    i32[count]
 *   outPtr      written i32[count]
 * Nothing may overlap what is written. Plain reference: test/reference/pattern-products.ts.
 */
const PATTERN_BYTES: usize = 96;

export function patternProducts(patternsPtr: usize, first: i32, othersPtr: usize, count: i32, outPtr: usize): void {
  const a = patternsPtr + <usize>first * PATTERN_BYTES;
  for (let other = othersPtr, end = othersPtr + (<usize>count << 2), out = outPtr; other < end; other += 4, out += 4) {
    const b = patternsPtr + <usize>load<u32>(other) * PATTERN_BYTES;
    let sum = i32x4.splat(0);
    for (let i: usize = 0; i < PATTERN_BYTES; i += 16) {
      const x = v128.load(a + i), y = v128.load(b + i);
      sum = i32x4.add(sum, i32x4.add(
        i32x4.extadd_pairwise_i16x8_s(i16x8.extmul_low_i8x16_s(x, y)),
        i32x4.extadd_pairwise_i16x8_s(i16x8.extmul_high_i8x16_s(x, y)),
      ));
    }
    store<i32>(out, i32x4.extract_lane(sum, 0) + i32x4.extract_lane(sum, 1) + i32x4.extract_lane(sum, 2) + i32x4.extract_lane(sum, 3));
  }
}
