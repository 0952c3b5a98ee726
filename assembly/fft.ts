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
 * Alignment 16. lanes and work must not overlap; spectrumPtr may overlap lanesPtr in either direction, never workPtr.
 * Lanes never mix: a NaN or an infinity spoils the bins of its own lane only.
 * Real stages all the way (half as many values as a complex transform of n points, and a fifth fewer additions than a complex one of n/2 with a split).
 * Source: Sorensen, Jones, Heideman & Burrus 1987, IEEE TASSP 35(6) 849-863. Plain reference: test/reference/dft.ts.
 */
import { firstSpan, lowestSpan, twiddlesAt } from './fft-table';
import { runBlocks16, runBlocks8 } from './inline/fft-blocks';
import { undoBlocks16, undoBlocks8, undoLastStage, undoStage } from './inline/fft-inverse';
import { runLastStage, runStage } from './inline/fft-stages';

export function fftForward(n: i32, tablePtr: usize, lanesPtr: usize, workPtr: usize, spectrumPtr: usize, strideBytes: i32): void {
  const first = firstSpan(n), quarter = n >> 2;
  if (first == 8) runBlocks8(n, tablePtr, lanesPtr, workPtr);
  else runBlocks16(n, tablePtr, lanesPtr, workPtr);
  if (first == n) return unpack(n, workPtr, spectrumPtr, <usize>strideBytes);
  // Quarter by quarter up to the last stage: a quarter stays in the first cache.
  const end = workPtr + (<usize>n << 4);
  for (let part = workPtr; part < end; part += <usize>quarter << 4) {
    for (let span = first; span < quarter; span <<= 2) runStageOf(span, quarter, tablePtr + twiddlesAt(n, span), part);
  }
  runLastStageOf(quarter, tablePtr + twiddlesAt(n, quarter), workPtr, spectrumPtr, <usize>strideBytes);
}

export function fftInverse(n: i32, tablePtr: usize, spectrumPtr: usize, strideBytes: i32, workPtr: usize, lanesPtr: usize): void {
  const scale: f32 = 1.0 / <f32>n;
  const isWhole = firstSpan(n) == n, count = isWhole ? n : n >> 2;
  if (isWhole) pack(n, spectrumPtr, <usize>strideBytes, scale, workPtr);
  else undoLastStageOf(n >> 2, tablePtr + twiddlesAt(n, n >> 2), spectrumPtr, <usize>strideBytes, scale, workPtr);
  const end = workPtr + (<usize>n << 4);
  for (let part = workPtr; part < end; part += <usize>count << 4) {
    for (let span = count >> 2; span >= lowestSpan(n); span >>= 2) undoStageOf(span, count, tablePtr + twiddlesAt(n, span), part);
  }
  if (firstSpan(n) == 8) undoBlocks8(n, tablePtr, workPtr, lanesPtr);
  else undoBlocks16(n, tablePtr, workPtr, lanesPtr);
}

function runStageOf(span: i32, count: i32, w: usize, workPtr: usize): void {
  switch (span) {
    case 8: return runStage<i32, i16>(count, w, workPtr);
    case 16: return runStage<v128, i8>(count, w, workPtr);
    case 32: return runStage<v128, i16>(count, w, workPtr);
    case 64: return runStage<i64, i32>(count, w, workPtr);
    case 128: return runStage<v128, i32>(count, w, workPtr);
    case 256: return runStage<i16, i64>(count, w, workPtr);
    default: runStage<i32, i64>(count, w, workPtr);
  }
}

function runLastStageOf(span: i32, w: usize, workPtr: usize, spectrumPtr: usize, stride: usize): void {
  switch (span) {
    case 8: return runLastStage<i32, i16>(w, workPtr, spectrumPtr, stride);
    case 16: return runLastStage<v128, i8>(w, workPtr, spectrumPtr, stride);
    case 32: return runLastStage<v128, i16>(w, workPtr, spectrumPtr, stride);
    case 64: return runLastStage<i64, i32>(w, workPtr, spectrumPtr, stride);
    case 128: return runLastStage<v128, i32>(w, workPtr, spectrumPtr, stride);
    case 256: return runLastStage<i16, i64>(w, workPtr, spectrumPtr, stride);
    case 512: return runLastStage<i32, i64>(w, workPtr, spectrumPtr, stride);
    case 1024: return runLastStage<i64, i64>(w, workPtr, spectrumPtr, stride);
    default: runLastStage<v128, i64>(w, workPtr, spectrumPtr, stride);
  }
}

function undoStageOf(span: i32, count: i32, w: usize, workPtr: usize): void {
  switch (span) {
    case 4: return undoStage<i16, i16>(count, w, workPtr);
    case 8: return undoStage<i32, i16>(count, w, workPtr);
    case 16: return undoStage<v128, i8>(count, w, workPtr);
    case 32: return undoStage<v128, i16>(count, w, workPtr);
    case 64: return undoStage<i64, i32>(count, w, workPtr);
    case 128: return undoStage<v128, i32>(count, w, workPtr);
    case 256: return undoStage<i16, i64>(count, w, workPtr);
    default: undoStage<i32, i64>(count, w, workPtr);
  }
}

function undoLastStageOf(span: i32, w: usize, spectrumPtr: usize, stride: usize, scale: f32, workPtr: usize): void {
  switch (span) {
    case 8: return undoLastStage<i32, i16>(w, spectrumPtr, stride, scale, workPtr);
    case 16: return undoLastStage<v128, i8>(w, spectrumPtr, stride, scale, workPtr);
    case 32: return undoLastStage<v128, i16>(w, spectrumPtr, stride, scale, workPtr);
    case 64: return undoLastStage<i64, i32>(w, spectrumPtr, stride, scale, workPtr);
    case 128: return undoLastStage<v128, i32>(w, spectrumPtr, stride, scale, workPtr);
    case 256: return undoLastStage<i16, i64>(w, spectrumPtr, stride, scale, workPtr);
    case 512: return undoLastStage<i32, i64>(w, spectrumPtr, stride, scale, workPtr);
    case 1024: return undoLastStage<i64, i64>(w, spectrumPtr, stride, scale, workPtr);
    default: undoLastStage<v128, i64>(w, spectrumPtr, stride, scale, workPtr);
  }
}

/** Half-complex order to bins. */
function unpack(n: i32, workPtr: usize, spectrumPtr: usize, stride: usize): void {
  let x = spectrumPtr;
  const end = workPtr + (<usize>n << 4);
  for (let k = 0; k <= n >> 1; k++, x += stride) {
    const bytes = <usize>k << 4;
    v128.store(x, v128.load(workPtr + bytes));
    v128.store(x, k == 0 || 2 * k == n ? f32x4.splat(0) : v128.load(end - bytes), 16);
  }
}

function pack(n: i32, spectrumPtr: usize, stride: usize, factor: f32, workPtr: usize): void {
  const scale = f32x4.splat(factor);
  let x = spectrumPtr;
  const end = workPtr + (<usize>n << 4);
  for (let k = 0; k <= n >> 1; k++, x += stride) {
    const bytes = <usize>k << 4;
    v128.store(workPtr + bytes, f32x4.mul(scale, v128.load(x)));
    if (k > 0 && 2 * k < n) v128.store(end - bytes, f32x4.mul(scale, v128.load(x, 16)));
  }
}
