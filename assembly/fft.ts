/**
 * Real transform of four tracks at once (lane = track), and its inverse.
 *
 * Formula: X[k] = sum over p of x[p] exp(-i 2 pi k p / n), k = 0 .. n/2, no scaling; the inverse has the factor 1 / n, so that
 * fftInverse(fftForward(x)) = x. n is a power of two from 8 to 8192.
 * fftForward(n, tablePtr, lanesPtr, workPtr, spectrumPtr, strideBytes)
 *   lanesPtr    read    v128[n], one vector per sample
 *   workPtr     written v128[n], scratch
 *   spectrumPtr written n/2 + 1 bins of [re x 4][im x 4], bin k at spectrumPtr + k * strideBytes (strideBytes >= 32)
 * fftInverse(n, tablePtr, spectrumPtr, strideBytes, workPtr, lanesPtr): read spectrumPtr (imaginary parts of bins 0 and n/2 are
 *   ignored), scratch workPtr, written lanesPtr.
 * Alignment 16. lanes and work must not overlap; spectrumPtr may overlap lanesPtr in the forward transform, never workPtr.
 * Lanes never mix: a NaN or an infinity spoils the bins of its own lane only.
 * Source: Cooley & Tukey 1965; Press et al., Numerical Recipes 12.3. Plain reference: test/reference/dft.ts.
 */
import { POINT_BYTES } from './abi';
import { firstRadix4Span } from './fft-table';
import { runFirstStage4, runFirstStage8, runRadix4Stage } from './inline/fft-passes';

export function fftForward(n: i32, tablePtr: usize, lanesPtr: usize, workPtr: usize, spectrumPtr: usize, strideBytes: i32): void {
  const m = n >> 1;
  const splitPtr = runStages(m, tablePtr, lanesPtr, workPtr);
  splitForward(m, splitPtr, workPtr, spectrumPtr, <usize>strideBytes);
}

export function fftInverse(n: i32, tablePtr: usize, spectrumPtr: usize, strideBytes: i32, workPtr: usize, lanesPtr: usize): void {
  const m = n >> 1;
  joinInverse(m, tablePtr, spectrumPtr, <usize>strideBytes, workPtr);
  runStages(m, tablePtr, workPtr, lanesPtr);
}

/** All stages from sourcePtr to workPtr; returns where the split's twiddles begin. */
function runStages(m: i32, tablePtr: usize, sourcePtr: usize, workPtr: usize): usize {
  let span = firstRadix4Span(m);
  if (span == 8) runFirstStage8(m, tablePtr, sourcePtr, workPtr);
  else runFirstStage4(m, tablePtr, sourcePtr, workPtr);
  let w = tablePtr + <usize>m;
  for (; span < m; span <<= 2) {
    runRadix4Stage(m, span, w, workPtr);
    w += <usize>span * 24;
  }
  return w;
}

/** X[k] = E + W O and X[m-k] = conj(E - W O), with E, O the transforms of even and odd samples, W = exp(-i 2 pi k / n). */
function splitForward(m: i32, splitPtr: usize, workPtr: usize, spectrumPtr: usize, stride: usize): void {
  const half = f32x4.splat(0.5);
  const zero = f32x4.splat(0);
  const zr = v128.load(workPtr), zi = v128.load(workPtr, 16);
  let x = spectrumPtr;
  let y = spectrumPtr + <usize>m * stride;
  v128.store(x, f32x4.add(zr, zi));
  v128.store(x, zero, 16);
  v128.store(y, f32x4.sub(zr, zi));
  v128.store(y, zero, 16);
  let a = workPtr + POINT_BYTES;
  let b = workPtr + <usize>(m - 1) * POINT_BYTES;
  let w = splitPtr + 8;
  for (; a <= b; a += POINT_BYTES, b -= POINT_BYTES, w += 8) {
    x += stride;
    y -= stride;
    const ar = v128.load(a), ai = v128.load(a, 16), br = v128.load(b), bi = v128.load(b, 16);
    const er = f32x4.mul(half, f32x4.add(ar, br)), ei = f32x4.mul(half, f32x4.sub(ai, bi));
    const or = f32x4.mul(half, f32x4.add(ai, bi)), oi = f32x4.mul(half, f32x4.sub(br, ar));
    const c = v128.load_splat<f32>(w), s = v128.load_splat<f32>(w, 4);
    const tr = f32x4.add(f32x4.mul(or, c), f32x4.mul(oi, s)), ti = f32x4.sub(f32x4.mul(oi, c), f32x4.mul(or, s));
    v128.store(y, f32x4.sub(er, tr));
    v128.store(y, f32x4.sub(ti, ei), 16);
    v128.store(x, f32x4.add(er, tr));
    v128.store(x, f32x4.add(ei, ti), 16);
  }
}

/**
 * Undoes the split with the factor 1 / n. Z[k] is written at index (m - k) mod m, because the forward stages applied to the reversed
 * sequence give the inverse transform.
 */
function joinInverse(m: i32, tablePtr: usize, spectrumPtr: usize, stride: usize, workPtr: usize): void {
  const scale = f32x4.splat(<f32>(0.5 / <f64>m));
  let w = tablePtr + <usize>m;
  for (let span = firstRadix4Span(m); span < m; span <<= 2) w += <usize>span * 24;
  let x = spectrumPtr;
  let y = spectrumPtr + <usize>m * stride;
  const x0 = v128.load(x), xm = v128.load(y);
  v128.store(workPtr, f32x4.mul(scale, f32x4.add(x0, xm)));
  v128.store(workPtr, f32x4.mul(scale, f32x4.sub(x0, xm)), 16);
  let a = workPtr + POINT_BYTES;
  let b = workPtr + <usize>(m - 1) * POINT_BYTES;
  w += 8;
  for (; a <= b; a += POINT_BYTES, b -= POINT_BYTES, w += 8) {
    x += stride;
    y -= stride;
    const xr = v128.load(x), xi = v128.load(x, 16), yr = v128.load(y), yi = v128.load(y, 16);
    const er = f32x4.mul(scale, f32x4.add(xr, yr)), ei = f32x4.mul(scale, f32x4.sub(xi, yi));
    const dr = f32x4.mul(scale, f32x4.sub(xr, yr)), di = f32x4.mul(scale, f32x4.add(xi, yi));
    const c = v128.load_splat<f32>(w), s = v128.load_splat<f32>(w, 4);
    const or = f32x4.sub(f32x4.mul(dr, c), f32x4.mul(di, s)), oi = f32x4.add(f32x4.mul(di, c), f32x4.mul(dr, s));
    v128.store(a, f32x4.add(er, oi));
    v128.store(a, f32x4.sub(or, ei), 16);
    v128.store(b, f32x4.sub(er, oi));
    v128.store(b, f32x4.add(ei, or), 16);
  }
}
