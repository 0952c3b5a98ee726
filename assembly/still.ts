/**
 * How long a track stands still: samples from the first on that equal it.
 *
 * Formula: least i > 0 with x[i] != x[0], count where there is none; x[i] = the sample at address + i strideBytes.
 *   address   read    samples of a file, no alignment; codings as in `lanesFromPcm`: 1 u8, 2 s16, 3 s24, 4 s32, 5 f32, all little-endian
 * A number that is not one (NaN) equals nothing, not even itself: 1. No other coding may be given, and count is at least 1.
 * Source: definition. Plain reference: test/reference/survey.ts.
 */
export function countSame(address: usize, strideBytes: i32, coding: i32, count: i32): i32 {
  const stride = <usize>strideBytes;
  let p = address + stride, i = 1;
  if (coding == 2) {
    const value = load<u16>(address);
    // Four at a time, whose differences are joined before one question is asked.
    for (; i + 4 <= count; i += 4, p += 4 * stride) {
      if (((load<u16>(p) ^ value) | (load<u16>(p + stride) ^ value)) | ((load<u16>(p + 2 * stride) ^ value) | (load<u16>(p + 3 * stride) ^ value))) break;
    }
    while (i < count && load<u16>(p) == value) { i++; p += stride; }
  } else if (coding == 3) {
    const low = load<u16>(address), high = load<u8>(address, 2);
    while (i < count && load<u16>(p) == low && load<u8>(p, 2) == high) { i++; p += stride; }
  } else if (coding == 4) {
    const value = load<u32>(address);
    while (i < count && load<u32>(p) == value) { i++; p += stride; }
  } else if (coding == 5) {
    const value = load<f32>(address);
    while (i < count && load<f32>(p) == value) { i++; p += stride; }
  } else {
    const value = load<u8>(address);
    while (i < count && load<u8>(p) == value) { i++; p += stride; }
  }
  return i;
}
