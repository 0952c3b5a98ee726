/**
 * Powers of single spectra from lanes, and low quantiles of many such rows: noise floors.
 *
 * lanePower: P[k] lane c = scale |X_c(k)|^2, X as in fft.ts of the windowed lanes, k = 0 .. n/2.
 *   lanesPtr   read    v128[n], 16-aligned
 *   windowPtr  read    f32[n]
 *   tablePtr   read    fftPrepare(n)
 *   scratchPtr written 3 n + 4 v128
 *   outPtr     written n/2 + 1 v128, strideBytes apart
 * lowQuantiles: per column, the value of rank[lane] (from 0) among the rows, to within a relative 2^-12 and never above the exact one.
 *   rowsPtr    read    [rowCount] rows of columnCount v128 of f32 >= 0 or +infinity (left out of the count by its place); columnCount even
 *   rankPtr    read    i32x4[groupCount]: column c uses rank c % groupCount; groupCount 1 .. 4
 *   scratchPtr written rowCount v128
 *   outPtr     written v128[columnCount]
 * Nothing may overlap. Source: power: definition; bisection of the order statistic over the bits of the floats, which order like integers.
 * Plain reference: test/reference/dft.ts; a sort.
 */
import { fftForward } from './fft';

export function lanePower(n: i32, lanesPtr: usize, windowPtr: usize, tablePtr: usize, scratchPtr: usize, scale: f32, outPtr: usize, strideBytes: usize): void {
  const workPtr = scratchPtr + (<usize>n << 4), spectrumPtr = workPtr + (<usize>n << 4);
  for (let i: usize = 0; i < <usize>n << 2; i += 4) {
    v128.store(scratchPtr + (i << 2), f32x4.mul(v128.load(lanesPtr + (i << 2)), v128.load_splat<f32>(windowPtr + i)));
  }
  fftForward(n, tablePtr, scratchPtr, workPtr, spectrumPtr, 32);
  const factor = f32x4.splat(scale);
  let o = outPtr;
  for (let k = 0; k <= n >> 1; k++, o += strideBytes) {
    const p = spectrumPtr + (<usize>k << 5);
    const re = v128.load(p), im = v128.load(p, 16);
    v128.store(o, f32x4.mul(factor, f32x4.add(f32x4.mul(re, re), f32x4.mul(im, im))));
  }
}

export function lowQuantiles(rowsPtr: usize, rowCount: i32, columnCount: i32, rankPtr: usize, groupCount: i32, scratchPtr: usize, outPtr: usize): void {
  const rowBytes = <usize>columnCount << 4;
  for (let c = 0; c < columnCount; c++) {
    let low = i32x4.splat(0x7fffffff), high = i32x4.splat(0);
    let p = rowsPtr + (<usize>c << 4);
    const end = scratchPtr + (<usize>rowCount << 4);
    for (let o = scratchPtr; o < end; o += 16, p += rowBytes) {
      const v = v128.load(p);
      v128.store(o, v);
      low = i32x4.min_s(low, v);
      high = i32x4.max_s(high, v);
    }
    v128.store(outPtr + (<usize>c << 4), bisect(scratchPtr, end, low, high, v128.load(rankPtr + (<usize>(c % groupCount) << 4))));
  }
}

/** Values below `low` number at most rank, those up to `high` more: the answer lies between until both are near. */
function bisect(from: usize, end: usize, least: v128, most: v128, rank: v128): v128 {
  let low = least, high = most;
  const one = i32x4.splat(1), near = i32x4.splat(2048);
  while (v128.any_true(i32x4.gt_s(i32x4.sub(high, low), near))) {
    const middle = i32x4.add(low, i32x4.shr_s(i32x4.sub(high, low), 1));
    let a = i32x4.splat(0), b = a;
    let p = from;
    for (; p + 16 < end; p += 32) {
      a = i32x4.sub(a, i32x4.le_s(v128.load(p), middle));
      b = i32x4.sub(b, i32x4.le_s(v128.load(p, 16), middle));
    }
    if (p < end) a = i32x4.sub(a, i32x4.le_s(v128.load(p), middle));
    const isAbove = i32x4.gt_s(i32x4.add(a, b), rank);
    high = v128.bitselect(middle, high, isAbove);
    low = v128.bitselect(low, i32x4.add(middle, one), isAbove);
  }
  return low;
}
