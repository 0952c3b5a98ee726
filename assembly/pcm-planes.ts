/**
 * Samples of up to four tracks as planar rows, straight from bytes as they lie in files.
 *
 * Formula: planes[t][i] = value of the sample at address_t + i * strideBytes_t, integers times 2^-(bits - 1) (8-bit: (code - 128) / 128).
 *   recordPtr read    4 records as in pcm-lanes.ts, of which the first trackCount count. Codings: 0 none (the row is 0), 1 u8, 2 s16, 3 s24,
 *             4 s32, 5 f32, all little-endian; addresses need no alignment
 *   planesPtr written f32[trackCount] rows of frameCount, rowBytes apart, 4-aligned; must not overlap the bytes
 * f32 samples are copied bit for bit. Bytes outside the samples are not read.
 * Source: definition (EBU Tech 3285 for the layout of samples). Plain reference: test/reference/survey.ts.
 */
import { addressOf, codingOf, S16, strideOf } from './pcm-lanes';

export function planesFromPcm(recordPtr: usize, trackCount: i32, frameCount: i32, planesPtr: usize, rowBytes: usize): void {
  const first = addressOf(recordPtr, 0), stride = strideOf(recordPtr, 0);
  let isNext = trackCount == 4;
  for (let c = 0; c < trackCount; c++) {
    isNext = isNext && codingOf(recordPtr, c) == S16 && strideOf(recordPtr, c) == stride && addressOf(recordPtr, c) == first + <usize>(2 * c);
  }
  const done = isNext ? frameCount & ~3 : 0;
  if (isNext) spreadNeighbours(first, stride, done, planesPtr, rowBytes);
  for (let c = 0; c < trackCount; c++) {
    const step = strideOf(recordPtr, c);
    copyRow(codingOf(recordPtr, c), addressOf(recordPtr, c) + <usize>done * step, step, frameCount - done, planesPtr + <usize>c * rowBytes + (<usize>done << 2));
  }
}

/** Four 16-bit channels side by side in every frame; `frameCount` is a multiple of 4. */
function spreadNeighbours(from: usize, stride: usize, frameCount: i32, planesPtr: usize, rowBytes: usize): void {
  const end = planesPtr + (<usize>frameCount << 2);
  for (let o = planesPtr, p = from; o < end; o += 16, p += stride << 2) {
    const q = p + stride, r = q + stride, s = r + stride;
    // A transpose of four by four codes: two frames side by side per channel, then all four.
    const a = v128.shuffle<i16>(v128.load64_zero(p), v128.load64_zero(q), 0, 8, 1, 9, 2, 10, 3, 11);
    const b = v128.shuffle<i16>(v128.load64_zero(r), v128.load64_zero(s), 0, 8, 1, 9, 2, 10, 3, 11);
    const low = v128.shuffle<i32>(a, b, 0, 4, 1, 5), high = v128.shuffle<i32>(a, b, 2, 6, 3, 7);
    v128.store(o, scale16(i32x4.extend_low_i16x8_s(low)));
    v128.store(o + rowBytes, scale16(i32x4.extend_high_i16x8_s(low)));
    v128.store(o + (rowBytes << 1), scale16(i32x4.extend_low_i16x8_s(high)));
    v128.store(o + (rowBytes << 1) + rowBytes, scale16(i32x4.extend_high_i16x8_s(high)));
  }
}

// @ts-ignore: decorator
@inline
function scale16(codes: v128): v128 {
  return f32x4.mul(f32x4.splat(1.0 / 32768.0), f32x4.convert_i32x4_s(codes));
}

function copyRow(coding: i32, from: usize, stride: usize, frameCount: i32, rowPtr: usize): void {
  const end = rowPtr + (<usize>frameCount << 2);
  let p = from, o = rowPtr;
  if (coding == S16) {
    if (stride == 2) for (; o + 16 <= end; o += 16, p += 8) v128.store(o, scale16(v128.load16x4_s(p)));
    for (; o < end; o += 4, p += stride) store<f32>(o, <f32>load<i16>(p) * <f32>(1.0 / 32768.0));
  } else if (coding == 3) {
    for (; o < end; o += 4, p += stride) store<f32>(o, <f32>((<i32>load<u16>(p) << 8) | (<i32>load<i8>(p, 2) << 24)) * <f32>(1.0 / 2147483648.0));
  } else if (coding == 4) {
    for (; o < end; o += 4, p += stride) store<f32>(o, <f32>load<i32>(p) * <f32>(1.0 / 2147483648.0));
  } else if (coding == 5) {
    if (stride == 4) memory.copy(o, p, end - o);
    else for (; o < end; o += 4, p += stride) store<u32>(o, load<u32>(p));
  } else if (coding == 1) {
    for (; o < end; o += 4, p += stride) store<f32>(o, (<f32>load<u8>(p) - 128) * <f32>(1.0 / 128.0));
  } else memory.fill(o, 0, end - o);
}
