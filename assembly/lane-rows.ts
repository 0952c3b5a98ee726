/**
 * Powers of the spectra of one group of four tracks, as lanes: rows for quantiles over time, and means over time.
 *
 * powerRows: rows[s][b] lane c = |X_c(s, b)|^2, columns behind the last bin 0. A lane whose sum over the bins of a spectrum is not positive and finite (lost
 * stretches, NaN) is +infinity in all columns of it; `usable` counts the others.
 *   rowsPtr   written v128 [spectrumCount][columns], columns >= bins
 *   usablePtr written i32x4
 * meanPower: mean[b] lane c = (sum over s of |X_c(s, b)|^2) / spectrumCount.
 *   meanPtr   written v128[bins]
 *   spectraPtr read [spectrumCount][bins][re x 4][im x 4] f32 (abi.ts)
 * Alignment 16; nothing may overlap. A NaN stays in its lane. Source: definitions. Plain reference: test/reference/bin-rows.ts.
 */
import { POINT_BYTES } from './abi';

export function powerRows(spectraPtr: usize, spectrumCount: i32, bins: i32, columns: i32, rowsPtr: usize, usablePtr: usize): void {
  const rowBytes = <usize>columns << 4, infinity = f32x4.splat(Infinity), zero = f32x4.splat(0);
  let usable = i32x4.splat(0), p = spectraPtr;
  for (let row = rowsPtr, end = rowsPtr + <usize>spectrumCount * rowBytes; row < end; row += rowBytes) {
    let sum = zero, o = row;
    for (const last = row + (<usize>bins << 4); o < last; o += 16, p += POINT_BYTES) {
      const re = v128.load(p), im = v128.load(p, 16), power = f32x4.add(f32x4.mul(re, re), f32x4.mul(im, im));
      sum = f32x4.add(sum, power);
      v128.store(o, power);
    }
    for (; o < row + rowBytes; o += 16) v128.store(o, zero);
    const isUsable = v128.and(f32x4.gt(sum, zero), f32x4.lt(sum, infinity));
    usable = i32x4.sub(usable, isUsable);
    if (i32x4.all_true(isUsable)) continue;
    for (let q = row; q < row + rowBytes; q += 16) v128.store(q, v128.bitselect(v128.load(q), infinity, isUsable));
  }
  v128.store(usablePtr, usable);
}

export function meanPower(spectraPtr: usize, spectrumCount: i32, bins: i32, meanPtr: usize): void {
  const scale = f32x4.splat(1 / <f32>spectrumCount), end = meanPtr + (<usize>bins << 4);
  memory.fill(meanPtr, 0, end - meanPtr);
  let p = spectraPtr;
  for (let s = 0; s < spectrumCount; s++) {
    for (let o = meanPtr; o < end; o += 16, p += POINT_BYTES) {
      const re = v128.load(p), im = v128.load(p, 16);
      v128.store(o, f32x4.add(v128.load(o), f32x4.mul(scale, f32x4.add(f32x4.mul(re, re), f32x4.mul(im, im)))));
    }
  }
}
