/**
 * What linear paths predict per bin, and how surely; four bins and four frames at a time.
 *
 * Formula: crosstalk(k) = sum over a of H_a Z_a(k); variance(k) = sum over a of |sum over b <= a of F(a, b) conj(Z_b(k))|^2 for even k, F the inverse of
 * the lower Cholesky factor of the paths' precision; for odd k the mean of both neighbours, of the one before at the end. (Windows overlap by three
 * quarters: the variance moves little from one to the next.) Taps as in path-products.ts.
 *   tablePtr     read    i32[refCount], addresses of planes re [frameCount][width] then im, f32
 *   meanPtr      read    size rows of re [width] then im [width], f32
 *   factorPtr    read    rows a (a + 1) / 2 + b of the same form
 *   scratchPtr   written 32 refCount (frameCount + tapCount + 7) bytes
 *   crosstalkPtr written planes re [frameCount][width] then im, f32
 *   variancePtr  written f32 [frameCount][width]
 * width is a multiple of 4; alignment 16 (table 4); written memory must not overlap the rest. A NaN spoils its own bin only.
 * Source: posterior of the linear Gaussian model. Plain reference: test/reference/path-system.ts.
 */
import { copyColumn } from './path-products';

export function pathPrediction(
  tablePtr: usize, refCount: i32, frameCount: i32, tapCount: i32, leadTaps: i32, width: i32, meanPtr: usize, factorPtr: usize, scratchPtr: usize, crosstalkPtr: usize, variancePtr: usize,
): void {
  const rowBytes = <usize>width << 2, imOffset = <usize>frameCount * rowBytes, size = refCount * tapCount;
  // Tap l of frame k stands tapCount - 1 - l behind the column's start and k further.
  const before = <usize>(tapCount - 1 - leadTaps) << 5, columnBytes = <usize>(frameCount + tapCount + 7) << 5;
  memory.fill(scratchPtr, 0, <usize>refCount * columnBytes);
  for (let at: usize = 0; at < rowBytes; at += 16) {
    for (let r = 0; r < refCount; r++) copyColumn(<usize>load<i32>(tablePtr + (<usize>r << 2)) + at, frameCount, rowBytes, imOffset, scratchPtr + <usize>r * columnBytes + before);
    for (let k = 0; k < frameCount; k += 4) {
      const row = <usize>k * rowBytes + at, first = scratchPtr + (<usize>(k + tapCount - 1) << 5), count = min(4, frameCount - k);
      predictFour(first, size, tapCount, columnBytes, meanPtr + at, rowBytes, imOffset, count, crosstalkPtr + row);
      if ((k & 4) == 0) varyFour(first, size, tapCount, columnBytes, factorPtr + at, rowBytes, (frameCount - k + 1) >> 1, variancePtr + row);
    }
    fillOdd(variancePtr + at, frameCount, rowBytes);
  }
}

/** Even frames from `first` on, `count` of them at most. */
function varyFour(first: usize, size: i32, tapCount: i32, columnBytes: usize, factor: usize, rowBytes: usize, count: i32, out: usize): void {
  let v0 = f32x4.splat(0), v1 = v0, v2 = v0, v3 = v0;
  for (let a = 0; a < size; a++) {
    let r0 = f32x4.splat(0), r1 = r0, r2 = r0, r3 = r0, i0 = r0, i1 = r0, i2 = r0, i3 = r0;
    let z = first, tap = 0;
    for (let b = 0; b <= a; b++) {
      const fr = v128.load(factor), fi = v128.load(factor + rowBytes);
      factor += 2 * rowBytes;
      let zr = v128.load(z), zi = v128.load(z, 16);
      r0 = f32x4.add(r0, f32x4.add(f32x4.mul(fr, zr), f32x4.mul(fi, zi)));
      i0 = f32x4.add(i0, f32x4.sub(f32x4.mul(fi, zr), f32x4.mul(fr, zi)));
      zr = v128.load(z, 64); zi = v128.load(z, 80);
      r1 = f32x4.add(r1, f32x4.add(f32x4.mul(fr, zr), f32x4.mul(fi, zi)));
      i1 = f32x4.add(i1, f32x4.sub(f32x4.mul(fi, zr), f32x4.mul(fr, zi)));
      zr = v128.load(z, 128); zi = v128.load(z, 144);
      r2 = f32x4.add(r2, f32x4.add(f32x4.mul(fr, zr), f32x4.mul(fi, zi)));
      i2 = f32x4.add(i2, f32x4.sub(f32x4.mul(fi, zr), f32x4.mul(fr, zi)));
      zr = v128.load(z, 192); zi = v128.load(z, 208);
      r3 = f32x4.add(r3, f32x4.add(f32x4.mul(fr, zr), f32x4.mul(fi, zi)));
      i3 = f32x4.add(i3, f32x4.sub(f32x4.mul(fi, zr), f32x4.mul(fr, zi)));
      z -= 32;
      if (++tap == tapCount) { tap = 0; z += columnBytes + (<usize>tapCount << 5); }
    }
    v0 = f32x4.add(v0, f32x4.add(f32x4.mul(r0, r0), f32x4.mul(i0, i0)));
    v1 = f32x4.add(v1, f32x4.add(f32x4.mul(r1, r1), f32x4.mul(i1, i1)));
    v2 = f32x4.add(v2, f32x4.add(f32x4.mul(r2, r2), f32x4.mul(i2, i2)));
    v3 = f32x4.add(v3, f32x4.add(f32x4.mul(r3, r3), f32x4.mul(i3, i3)));
  }
  storeFour(out, 2 * rowBytes, count, v0, v1, v2, v3);
}

function fillOdd(variance: usize, frameCount: i32, rowBytes: usize): void {
  const half = f32x4.splat(0.5);
  for (let k = 1, p = variance + rowBytes; k < frameCount; k += 2, p += 2 * rowBytes) {
    const before = v128.load(p - rowBytes);
    v128.store(p, f32x4.mul(half, f32x4.add(before, k + 1 < frameCount ? v128.load(p + rowBytes) : before)));
  }
}

function predictFour(first: usize, size: i32, tapCount: i32, columnBytes: usize, mean: usize, rowBytes: usize, imOffset: usize, count: i32, out: usize): void {
  let r0 = f32x4.splat(0), r1 = r0, r2 = r0, r3 = r0, i0 = r0, i1 = r0, i2 = r0, i3 = r0;
  let z = first, tap = 0;
  for (let a = 0; a < size; a++) {
    const hr = v128.load(mean), hi = v128.load(mean + rowBytes);
    mean += 2 * rowBytes;
    let zr = v128.load(z), zi = v128.load(z, 16);
    r0 = f32x4.add(r0, f32x4.sub(f32x4.mul(hr, zr), f32x4.mul(hi, zi))); i0 = f32x4.add(i0, f32x4.add(f32x4.mul(hr, zi), f32x4.mul(hi, zr)));
    zr = v128.load(z, 32); zi = v128.load(z, 48);
    r1 = f32x4.add(r1, f32x4.sub(f32x4.mul(hr, zr), f32x4.mul(hi, zi))); i1 = f32x4.add(i1, f32x4.add(f32x4.mul(hr, zi), f32x4.mul(hi, zr)));
    zr = v128.load(z, 64); zi = v128.load(z, 80);
    r2 = f32x4.add(r2, f32x4.sub(f32x4.mul(hr, zr), f32x4.mul(hi, zi))); i2 = f32x4.add(i2, f32x4.add(f32x4.mul(hr, zi), f32x4.mul(hi, zr)));
    zr = v128.load(z, 96); zi = v128.load(z, 112);
    r3 = f32x4.add(r3, f32x4.sub(f32x4.mul(hr, zr), f32x4.mul(hi, zi))); i3 = f32x4.add(i3, f32x4.add(f32x4.mul(hr, zi), f32x4.mul(hi, zr)));
    z -= 32;
    if (++tap == tapCount) { tap = 0; z += columnBytes + (<usize>tapCount << 5); }
  }
  storeFour(out, rowBytes, count, r0, r1, r2, r3);
  storeFour(out + imOffset, rowBytes, count, i0, i1, i2, i3);
}

// @ts-ignore: decorator
@inline
function storeFour(out: usize, rowBytes: usize, count: i32, v0: v128, v1: v128, v2: v128, v3: v128): void {
  v128.store(out, v0);
  if (count > 1) v128.store(out + rowBytes, v1);
  if (count > 2) v128.store(out + 2 * rowBytes, v2);
  if (count > 3) v128.store(out + 3 * rowBytes, v3);
}
