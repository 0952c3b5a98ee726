/**
 * Short-time spectra of all tracks and their powers in one pass: each spectrum's power is taken while it lies in the first cache.
 *
 * Formula: X as stft.ts, P as power.ts, bit for bit.
 *   all pointers up to spectraPtr as in stft.ts
 *   powerPtr written [trackCount][spectrumCount][n/2 + 1] f32, 4-aligned
 * Nothing may overlap. Source: see there. Plain reference: test/reference/stft.ts.
 */
import { countGroups, POINT_BYTES } from './abi';
import { fftForward } from './fft';
import { loadLanes } from './inline/lanes';
import { writePower } from './power';

export function stftPower(
  signalPtr: usize, trackStrideFrames: i32, trackCount: i32, frameCount: i32, firstFrame: i32, hopFrames: i32, spectrumCount: i32,
  n: i32, windowPtr: usize, windowFrames: i32, tablePtr: usize, scratchPtr: usize, spectraPtr: usize, scale: f32, powerPtr: usize,
): void {
  const groups = countGroups(trackCount);
  const stride = <usize>groups * POINT_BYTES;
  const workPtr = scratchPtr + (<usize>n << 4);
  const binCount = (n >> 1) + 1;
  const rowBytes = (<usize>spectrumCount * <usize>binCount) << 2;
  let out = spectraPtr;
  let power = powerPtr;
  for (let s = 0; s < spectrumCount; s++) {
    const start = firstFrame + s * hopFrames;
    for (let g = 0; g < groups; g++) {
      loadLanes(signalPtr, trackStrideFrames, 4 * g, trackCount, start, frameCount, windowPtr, windowFrames, n, scratchPtr);
      fftForward(n, tablePtr, scratchPtr, workPtr, out + <usize>g * POINT_BYTES, <i32>stride);
    }
    writePower(out, binCount, trackCount, scale, power, rowBytes);
    out += <usize>binCount * stride;
    power += <usize>binCount << 2;
  }
}
