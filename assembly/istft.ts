/**
 * Signals from short-time spectra: overlap-add with window-square normalisation.
 *
 * Formula: x[f] = sum over s of w[p] y_s[p] / sum over s of w[p]^2, p = f - firstFrame - s * hopFrames, y_s = inverse transform of X(s).
 * Undoes stft exactly where the sum of squares is at least 1e-6 of its largest value; elsewhere x is 0 (nothing is known there).
 *   spectraPtr  read    as stft writes them (unscaled)
 *   windowPtr   read    f32[windowFrames], the analysis window, or 0 for ones
 *   scratchPtr  written 2 * n v128
 *   weightPtr   written f32[frameCount], sum of squares per frame
 *   signalPtr   written planar f32, trackCount rows of frameCount at trackStrideFrames; frames no window covers are 0
 * Alignment 16 (signalPtr, windowPtr, weightPtr: 4). Nothing may overlap. NaN spectra spoil only the frames their window covers.
 * Source: Griffin & Lim 1984 (eq. 6); checked against scipy.signal.istft. Plain reference: test/reference/stft.ts.
 */
import { countGroups, POINT_BYTES } from './abi';
import { fftInverse } from './fft';

export function istft(
  spectraPtr: usize, spectrumCount: i32, trackCount: i32, n: i32, firstFrame: i32, hopFrames: i32, windowPtr: usize, windowFrames: i32,
  tablePtr: usize, scratchPtr: usize, weightPtr: usize, signalPtr: usize, trackStrideFrames: i32, frameCount: i32,
): void {
  const groups = countGroups(trackCount);
  const stride = <usize>groups * POINT_BYTES;
  const workPtr = scratchPtr + (<usize>n << 4);
  memory.fill(weightPtr, 0, <usize>frameCount << 2);
  for (let t = 0; t < trackCount; t++) memory.fill(signalPtr + ((<usize>t * <usize>trackStrideFrames) << 2), 0, <usize>frameCount << 2);
  let source = spectraPtr;
  for (let s = 0; s < spectrumCount; s++) {
    const start = firstFrame + s * hopFrames;
    const from = max(0, -start);
    const to = min(windowFrames, frameCount - start);
    addWeights(windowPtr, from, to, start, weightPtr);
    for (let g = 0; g < groups; g++) {
      fftInverse(n, tablePtr, source + <usize>g * POINT_BYTES, <i32>stride, workPtr, scratchPtr);
      addTracks(scratchPtr, windowPtr, from, to, min(4, trackCount - 4 * g), signalPtr + ((<usize>(4 * g) * <usize>trackStrideFrames + <usize>start) << 2), <usize>trackStrideFrames << 2);
    }
    source += <usize>((n >> 1) + 1) * stride;
  }
  divideByWeights(weightPtr, frameCount, trackCount, signalPtr, trackStrideFrames);
}

// @ts-ignore: decorator
@inline
function windowAt(windowPtr: usize, i: i32): f32 {
  return windowPtr ? load<f32>(windowPtr + (<usize>i << 2)) : <f32>1;
}

export function addWeights(windowPtr: usize, from: i32, to: i32, start: i32, weightPtr: usize): void {
  let i = from;
  for (; i + 4 <= to; i += 4) {
    const p = weightPtr + (<usize>(start + i) << 2);
    const w = windowPtr ? v128.load(windowPtr + (<usize>i << 2)) : f32x4.splat(1);
    v128.store(p, f32x4.add(v128.load(p), f32x4.mul(w, w)));
  }
  for (; i < to; i++) {
    const p = weightPtr + (<usize>(start + i) << 2);
    const w = windowAt(windowPtr, i);
    store<f32>(p, load<f32>(p) + w * w);
  }
}

/** Adds frames from .. to-1 of up to four lanes, under the window, to rows `rowBytes` apart; frame 0 of the window lies at rowPtr. */
export function addTracks(lanesPtr: usize, windowPtr: usize, from: i32, to: i32, tracks: i32, rowPtr: usize, rowBytes: usize): void {
  let i = from;
  for (; i + 4 <= to; i += 4) {
    const p = lanesPtr + (<usize>i << 4), o = rowPtr + (<usize>i << 2);
    const w = windowPtr ? v128.load(windowPtr + (<usize>i << 2)) : f32x4.splat(1);
    const a = v128.load(p), b = v128.load(p, 16), c = v128.load(p, 32), d = v128.load(p, 48);
    const ab = v128.shuffle<f32>(a, b, 0, 4, 1, 5), cd = v128.shuffle<f32>(c, d, 0, 4, 1, 5);
    addRow(o, v128.shuffle<f32>(ab, cd, 0, 1, 4, 5), w);
    if (tracks > 1) addRow(o + rowBytes, v128.shuffle<f32>(ab, cd, 2, 3, 6, 7), w);
    const ef = v128.shuffle<f32>(a, b, 2, 6, 3, 7), gh = v128.shuffle<f32>(c, d, 2, 6, 3, 7);
    if (tracks > 2) addRow(o + 2 * rowBytes, v128.shuffle<f32>(ef, gh, 0, 1, 4, 5), w);
    if (tracks > 3) addRow(o + 3 * rowBytes, v128.shuffle<f32>(ef, gh, 2, 3, 6, 7), w);
  }
  for (; i < to; i++) {
    const w = windowAt(windowPtr, i);
    for (let t = 0; t < tracks; t++) {
      const o = rowPtr + <usize>t * rowBytes + (<usize>i << 2);
      store<f32>(o, load<f32>(o) + w * load<f32>(lanesPtr + (<usize>i << 4) + (<usize>t << 2)));
    }
  }
}

// @ts-ignore: decorator
@inline
function addRow(o: usize, y: v128, w: v128): void {
  v128.store(o, f32x4.add(v128.load(o), f32x4.mul(w, y)));
}

export function divideByWeights(weightPtr: usize, frameCount: i32, trackCount: i32, signalPtr: usize, trackStrideFrames: i32): void {
  let largest: f32 = 0;
  for (let i = 0; i < frameCount; i++) largest = max(largest, load<f32>(weightPtr + (<usize>i << 2)));
  // Where all weights are 0 none is known.
  const least = max(largest * <f32>1e-6, f32.MIN_VALUE), leastOfFour = f32x4.splat(least);
  for (let t = 0; t < trackCount; t++) {
    const row = signalPtr + ((<usize>t * <usize>trackStrideFrames) << 2);
    let i: usize = 0;
    const whole = <usize>(frameCount & ~3) << 2, end = <usize>frameCount << 2;
    for (; i < whole; i += 16) {
      const weight = v128.load(weightPtr + i);
      v128.store(row + i, v128.and(f32x4.div(v128.load(row + i), weight), f32x4.ge(weight, leastOfFour)));
    }
    for (; i < end; i += 4) {
      const weight = load<f32>(weightPtr + i);
      store<f32>(row + i, weight >= least ? load<f32>(row + i) / weight : <f32>0);
    }
  }
}
