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
      const tracks = min(4, trackCount - 4 * g);
      for (let t = 0; t < tracks; t++) {
        const row = signalPtr + ((<usize>(4 * g + t) * <usize>trackStrideFrames) << 2);
        addTrack(scratchPtr + (<usize>t << 2), windowPtr, from, to, start, row);
      }
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

function addWeights(windowPtr: usize, from: i32, to: i32, start: i32, weightPtr: usize): void {
  for (let i = from; i < to; i++) {
    const p = weightPtr + (<usize>(start + i) << 2);
    const w = windowAt(windowPtr, i);
    store<f32>(p, load<f32>(p) + w * w);
  }
}

function addTrack(lanePtr: usize, windowPtr: usize, from: i32, to: i32, start: i32, rowPtr: usize): void {
  for (let i = from; i < to; i++) {
    const p = rowPtr + (<usize>(start + i) << 2);
    store<f32>(p, load<f32>(p) + windowAt(windowPtr, i) * load<f32>(lanePtr + (<usize>i << 4)));
  }
}

function divideByWeights(weightPtr: usize, frameCount: i32, trackCount: i32, signalPtr: usize, trackStrideFrames: i32): void {
  let largest: f32 = 0;
  for (let i = 0; i < frameCount; i++) largest = max(largest, load<f32>(weightPtr + (<usize>i << 2)));
  const least = largest * <f32>1e-6;
  for (let i = 0; i < frameCount; i++) {
    const weight = load<f32>(weightPtr + (<usize>i << 2));
    const isKnown = weight > 0 && weight >= least;
    for (let t = 0; t < trackCount; t++) {
      const p = signalPtr + ((<usize>t * <usize>trackStrideFrames + <usize>i) << 2);
      store<f32>(p, isKnown ? load<f32>(p) / weight : <f32>0);
    }
  }
}
