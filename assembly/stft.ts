/**
 * Short-time spectra of all tracks.
 *
 * Formula: X(s, k) = sum over p of w[p] x[firstFrame + s * hopFrames + p] exp(-i 2 pi k p / n), p = 0 .. windowFrames-1, k = 0 .. n/2.
 * Samples outside [0, frameCount) are 0. No scaling: a full-scale sine in the middle of a bin has magnitude 0.5 * windowSum; white
 * noise of variance v has expected |X|^2 of v * sum of w^2. Phase refers to the first sample of the window.
 *   signalPtr   read    planar f32 tracks (abi.ts), 4-aligned, 1 .. 16 tracks
 *   windowPtr   read    f32[windowFrames] (4-aligned), or 0 for ones; windowFrames <= n, the rest is zero padding
 *   tablePtr    read    fftPrepare(n)
 *   scratchPtr  written 2 * n v128
 *   spectraPtr  written [spectrumCount][n/2 + 1][groupCount][re x 4][im x 4] f32, 16-aligned; lanes without a track are 0
 * Nothing may overlap. A NaN or infinite sample spoils exactly the spectra of its own track whose window covers it.
 * Source: Allen & Rabiner 1977; checked against scipy.signal.stft. Plain reference: test/reference/stft.ts.
 */
import { countGroups, POINT_BYTES } from './abi';
import { fftForward } from './fft';
import { loadLanes } from './inline/lanes';

export function stft(
  signalPtr: usize, trackStrideFrames: i32, trackCount: i32, frameCount: i32, firstFrame: i32, hopFrames: i32, spectrumCount: i32,
  n: i32, windowPtr: usize, windowFrames: i32, tablePtr: usize, scratchPtr: usize, spectraPtr: usize,
): void {
  const groups = countGroups(trackCount);
  const stride = <usize>groups * POINT_BYTES;
  const workPtr = scratchPtr + (<usize>n << 4);
  let out = spectraPtr;
  for (let s = 0; s < spectrumCount; s++) {
    const start = firstFrame + s * hopFrames;
    for (let g = 0; g < groups; g++) {
      loadLanes(signalPtr, trackStrideFrames, 4 * g, trackCount, start, frameCount, windowPtr, windowFrames, n, scratchPtr);
      fftForward(n, tablePtr, scratchPtr, workPtr, out + <usize>g * POINT_BYTES, <i32>stride);
    }
    out += <usize>((n >> 1) + 1) * stride;
  }
}
