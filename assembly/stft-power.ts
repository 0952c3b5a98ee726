/**
 * Short-time spectra of all tracks and their powers in one pass: each spectrum stays in the first cache until its power is taken, and only
 * its lower bins are kept.
 *
 * Formula: X as stft.ts, bins 0 .. keptBins-1; P as power.ts of all bins; bit for bit.
 *   signalPtr .. tablePtr as in stft.ts
 *   scratchPtr written stftPowerScratchBytes(n, trackCount), 16-aligned
 *   spectraPtr written [spectrumCount][keptBins][groupCount][re x 4][im x 4] f32, 16-aligned; keptBins <= n/2 + 1
 *   powerPtr   written [trackCount][spectrumCount][n/2 + 1] f32, 4-aligned
 * Nothing may overlap. Source: see there. Plain reference: test/reference/stft.ts.
 */
import { countGroups, POINT_BYTES } from './abi';
import { fftForward } from './fft';
import { loadLanes } from './inline/lanes';
import { writePower } from './power';

/** Bytes of the scratch: lanes, work and one spectrum. */
export function stftPowerScratchBytes(n: i32, trackCount: i32): i32 {
  return 32 * n + ((n >> 1) + 1) * countGroups(trackCount) * <i32>POINT_BYTES;
}

export function stftPower(
  signalPtr: usize, trackStrideFrames: i32, trackCount: i32, frameCount: i32, firstFrame: i32, hopFrames: i32, spectrumCount: i32,
  n: i32, windowPtr: usize, windowFrames: i32, tablePtr: usize, scratchPtr: usize, keptBins: i32, spectraPtr: usize, scale: f32, powerPtr: usize,
): void {
  const groups = countGroups(trackCount);
  const stride = <usize>groups * POINT_BYTES;
  const workPtr = scratchPtr + (<usize>n << 4);
  const spectrumPtr = workPtr + (<usize>n << 4);
  const binCount = (n >> 1) + 1;
  const keptBytes = <usize>keptBins * stride;
  const rowBytes = (<usize>spectrumCount * <usize>binCount) << 2;
  let out = spectraPtr;
  let power = powerPtr;
  for (let s = 0; s < spectrumCount; s++) {
    const start = firstFrame + s * hopFrames;
    for (let g = 0; g < groups; g++) {
      loadLanes(signalPtr, trackStrideFrames, 4 * g, trackCount, start, frameCount, windowPtr, windowFrames, n, scratchPtr);
      fftForward(n, tablePtr, scratchPtr, workPtr, spectrumPtr + <usize>g * POINT_BYTES, <i32>stride);
    }
    memory.copy(out, spectrumPtr, keptBytes);
    writePower(spectrumPtr, binCount, trackCount, scale, power, rowBytes);
    out += keptBytes;
    power += <usize>binCount << 2;
  }
}
