/**
 * Finite impulse response of four tracks at a time, in place.
 *
 * Formula: y[i] = sum over k of taps[k] x[i - k], k = 0 .. tapCount-1 in this order, each product added to the sum of those before it.
 *   lanesPtr read, written [groupCount] rows of frameCount v128, groupBytes apart, 16-aligned: x, then y
 *            read          the tapCount - 1 frames before each row: x before the first frame
 *   tapsPtr  read          f32[tapCount], tapCount a multiple of 4
 * Goes from the last frame to the first, so that what is read has not been replaced. Nothing but that may overlap.
 * Source: definition (Oppenheim & Schafer 6.5). Plain reference: test/reference/lane-filter.ts.
 */
import { multiplyAdd } from './inline/multiply-add';

export function filterLanes(lanesPtr: usize, groupBytes: usize, groupCount: i32, frameCount: i32, tapsPtr: usize, tapCount: i32): void {
  const tapsEnd = tapsPtr + (<usize>tapCount << 2);
  for (let g = 0; g < groupCount; g++) {
    const row = lanesPtr + <usize>g * groupBytes;
    let i = frameCount;
    for (; i >= 4; i -= 4) filterFour(row + (<usize>(i - 4) << 4), tapsPtr, tapsEnd);
    for (; i > 0; i--) filterOne(row + (<usize>(i - 1) << 4), tapsPtr, tapsEnd);
  }
}

/** Four frames from `at` on: each sample and each tap is loaded once for all of them. */
function filterFour(at: usize, tapsPtr: usize, tapsEnd: usize): void {
  let y0 = f32x4.splat(0), y1 = y0, y2 = y0, y3 = y0;
  let x1 = v128.load(at, 16), x2 = v128.load(at, 32), x3 = v128.load(at, 48);
  let p = at;
  for (let t = tapsPtr; t < tapsEnd; t += 16) {
    let a = v128.load_splat<f32>(t);
    const x0 = v128.load(p);
    y0 = multiplyAdd(a, x0, y0); y1 = multiplyAdd(a, x1, y1); y2 = multiplyAdd(a, x2, y2); y3 = multiplyAdd(a, x3, y3);
    a = v128.load_splat<f32>(t, 4);
    x3 = v128.load(p - 16);
    y0 = multiplyAdd(a, x3, y0); y1 = multiplyAdd(a, x0, y1); y2 = multiplyAdd(a, x1, y2); y3 = multiplyAdd(a, x2, y3);
    a = v128.load_splat<f32>(t, 8);
    x2 = v128.load(p - 32);
    y0 = multiplyAdd(a, x2, y0); y1 = multiplyAdd(a, x3, y1); y2 = multiplyAdd(a, x0, y2); y3 = multiplyAdd(a, x1, y3);
    a = v128.load_splat<f32>(t, 12);
    x1 = v128.load(p - 48);
    y0 = multiplyAdd(a, x1, y0); y1 = multiplyAdd(a, x2, y1); y2 = multiplyAdd(a, x3, y2); y3 = multiplyAdd(a, x0, y3);
    p -= 64;
  }
  v128.store(at, y0); v128.store(at, y1, 16); v128.store(at, y2, 32); v128.store(at, y3, 48);
}

function filterOne(at: usize, tapsPtr: usize, tapsEnd: usize): void {
  let y = f32x4.splat(0);
  let p = at;
  for (let t = tapsPtr; t < tapsEnd; t += 4, p -= 16) y = multiplyAdd(v128.load_splat<f32>(t), v128.load(p), y);
  v128.store(at, y);
}
