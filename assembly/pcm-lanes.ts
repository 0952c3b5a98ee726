/**
 * Samples of up to four tracks as lanes, straight from bytes as they lie in files.
 *
 * Formula: lanes[i] lane c = value of the sample at address_c + i * strideBytes_c, integers times 2^-(bits - 1) (8-bit: (code - 128) / 128).
 *   recordPtr read    4 records of i32 address, i32 strideBytes, i32 coding; 4-aligned. Codings: 0 none (lane 0), 1 u8, 2 s16, 3 s24, 4 s32,
 *             5 f32, all little-endian; addresses need no alignment
 *   lanesPtr  written v128[frameCount], 16-aligned; must not overlap the bytes
 * f32 samples that are not finite become 0, and so do those below 1e-30 (denormals are silence). Bytes outside the samples are not read.
 * Source: definition (EBU Tech 3285 for the layout of samples). Plain reference: test/reference/survey.ts.
 */
import { storeTransposed } from './inline/lanes';

export const S16: i32 = 2;

// @ts-ignore: decorator
@inline
export function addressOf(recordPtr: usize, lane: i32): usize {
  return <usize>load<u32>(recordPtr + <usize>(12 * lane));
}

// @ts-ignore: decorator
@inline
export function strideOf(recordPtr: usize, lane: i32): usize {
  return <usize>load<u32>(recordPtr + <usize>(12 * lane), 4);
}

// @ts-ignore: decorator
@inline
export function codingOf(recordPtr: usize, lane: i32): i32 {
  return load<i32>(recordPtr + <usize>(12 * lane), 8);
}

export function lanesFromPcm(recordPtr: usize, frameCount: i32, lanesPtr: usize): void {
  const first = addressOf(recordPtr, 0), stride = strideOf(recordPtr, 0);
  let isSame = true, isNext = true;
  for (let c = 0; c < 4; c++) {
    isSame = isSame && codingOf(recordPtr, c) == S16 && strideOf(recordPtr, c) == stride;
    isNext = isNext && addressOf(recordPtr, c) == first + <usize>(2 * c);
  }
  if (isSame && isNext) return copyNeighbours(first, stride, frameCount, lanesPtr);
  let done = 0;
  if (isSame && stride == 2) {
    done = frameCount & ~3;
    copyRows(recordPtr, done, lanesPtr);
  }
  for (let c = 0; c < 4; c++) {
    const coding = codingOf(recordPtr, c), step = strideOf(recordPtr, c);
    copyLane(coding, addressOf(recordPtr, c) + <usize>done * step, step, frameCount - done, lanesPtr + (<usize>done << 4) + (<usize>c << 2));
  }
}

/** Four 16-bit channels side by side in every frame. */
function copyNeighbours(from: usize, stride: usize, frameCount: i32, lanesPtr: usize): void {
  const scale = f32x4.splat(1.0 / 32768.0);
  const end = lanesPtr + (<usize>frameCount << 4);
  for (let o = lanesPtr, p = from; o < end; o += 16, p += stride) {
    v128.store(o, f32x4.mul(scale, f32x4.convert_i32x4_s(v128.load16x4_s(p))));
  }
}

/** Four 16-bit tracks in rows of their own. */
function copyRows(recordPtr: usize, frameCount: i32, lanesPtr: usize): void {
  const scale = f32x4.splat(1.0 / 32768.0);
  const a = addressOf(recordPtr, 0), b = addressOf(recordPtr, 1), c = addressOf(recordPtr, 2), d = addressOf(recordPtr, 3);
  let o = lanesPtr;
  for (let i: usize = 0; i < <usize>frameCount << 1; i += 8) {
    const p = f32x4.mul(scale, f32x4.convert_i32x4_s(v128.load16x4_s(a + i)));
    const q = f32x4.mul(scale, f32x4.convert_i32x4_s(v128.load16x4_s(b + i)));
    const r = f32x4.mul(scale, f32x4.convert_i32x4_s(v128.load16x4_s(c + i)));
    const s = f32x4.mul(scale, f32x4.convert_i32x4_s(v128.load16x4_s(d + i)));
    storeTransposed(o, p, q, r, s);
    o += 64;
  }
}

/** One lane, sample by sample. */
function copyLane(coding: i32, from: usize, stride: usize, frameCount: i32, lanePtr: usize): void {
  const end = lanePtr + (<usize>frameCount << 4);
  let p = from;
  if (coding == S16) {
    for (let o = lanePtr; o < end; o += 16, p += stride) store<f32>(o, <f32>load<i16>(p) * <f32>(1.0 / 32768.0));
  } else if (coding == 3) {
    for (let o = lanePtr; o < end; o += 16, p += stride) store<f32>(o, <f32>((<i32>load<u16>(p) << 8) | (<i32>load<i8>(p, 2) << 24)) * <f32>(1.0 / 2147483648.0));
  } else if (coding == 4) {
    for (let o = lanePtr; o < end; o += 16, p += stride) store<f32>(o, <f32>load<i32>(p) * <f32>(1.0 / 2147483648.0));
  } else if (coding == 5) {
    for (let o = lanePtr; o < end; o += 16, p += stride) {
      const v = load<f32>(p), size = abs(v);
      store<f32>(o, size >= <f32>1e-30 && size <= f32.MAX_VALUE ? v : 0);
    }
  } else if (coding == 1) {
    for (let o = lanePtr; o < end; o += 16, p += stride) store<f32>(o, (<f32>load<u8>(p) - 128) * <f32>(1.0 / 128.0));
  } else {
    for (let o = lanePtr; o < end; o += 16) store<f32>(o, 0);
  }
}
