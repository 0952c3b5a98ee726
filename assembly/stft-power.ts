/**
 * Short-time spectra of all tracks from lanes, and their powers, in one pass: each spectrum stays in the first cache until its power is taken,
 * and only its lower bins are kept; what is asked of the others is summed up at once.
 *
 * Formula: X(s, k) = sum over p of w[p] x[s hopFrames + p] exp(-i 2 pi k p / n), p = 0 .. n-1, bins 0 .. keptBins-1; P = scale |X|^2 of bins 0 .. powerBins-1;
 *   rise and high as in band-sums.ts, left out where edgePtr is 0.
 *   lanesPtr   read    [groupCount] rows of v128, groupBytes apart: one vector of four tracks per frame, from the first window's first frame on;
 *              (spectrumCount - 1) hopFrames + n frames, 16-aligned
 *   windowPtr  read    f32[n]
 *   tablePtr   read    fftPrepare(n)
 *   scratchPtr written stftPowerScratchBytes(n, trackCount), 16-aligned
 *   spectraPtr written [spectrumCount][keptBins][groupCount][re x 4][im x 4] f32, 16-aligned; keptBins <= n/2 + 1
 *   powerPtr   written [trackCount][spectrumCount][powerBins] f32, 4-aligned; powerBins <= n/2 + 1
 *   weightPtr, edgePtr read as in band-sums.ts
 *   risePtr    written f32[trackCount][spectrumCount][8]
 *   highPtr    written f32[trackCount][spectrumCount]
 * Nothing may overlap. A NaN or infinite sample spoils exactly the spectra of its own track whose window covers it.
 * Source: Allen & Rabiner 1977. Plain reference: test/reference/stft.ts.
 */
import { countGroups, POINT_BYTES } from './abi';
import { sumBands } from './band-sums';
import { fftForward } from './fft';
import { writePower } from './power';

/** Bytes of the scratch: lanes, work and one spectrum. */
export function stftPowerScratchBytes(n: i32, trackCount: i32): i32 {
  return 32 * n + ((n >> 1) + 1) * countGroups(trackCount) * <i32>POINT_BYTES;
}

export function stftPower(
  lanesPtr: usize, groupBytes: usize, trackCount: i32, hopFrames: i32, spectrumCount: i32, n: i32, windowPtr: usize, tablePtr: usize, scratchPtr: usize,
  keptBins: i32, spectraPtr: usize, scale: f32, powerBins: i32, powerPtr: usize, weightPtr: usize, edgePtr: usize, risePtr: usize, highPtr: usize,
): void {
  const groups = countGroups(trackCount);
  const stride = <usize>groups * POINT_BYTES;
  const workPtr = scratchPtr + (<usize>n << 4);
  const spectrumPtr = workPtr + (<usize>n << 4);
  const keptBytes = <usize>keptBins * stride;
  const rowBytes = (<usize>spectrumCount * <usize>powerBins) << 2;
  let out = spectraPtr;
  let power = powerPtr;
  for (let s = 0; s < spectrumCount; s++) {
    const start = lanesPtr + (<usize>(s * hopFrames) << 4);
    for (let g = 0; g < groups; g++) {
      multiplyWindow(start + <usize>g * groupBytes, windowPtr, n, scratchPtr);
      fftForward(n, tablePtr, scratchPtr, workPtr, spectrumPtr + <usize>g * POINT_BYTES, <i32>stride);
    }
    memory.copy(out, spectrumPtr, keptBytes);
    writePower(spectrumPtr, powerBins, trackCount, scale, power, rowBytes);
    if (edgePtr) sumBands(spectrumPtr, trackCount, weightPtr, edgePtr, risePtr + (<usize>s << 5), <usize>spectrumCount << 5, highPtr + (<usize>s << 2), <usize>spectrumCount << 2);
    out += keptBytes;
    power += <usize>powerBins << 2;
  }
}

/** n is a multiple of 4. */
function multiplyWindow(from: usize, windowPtr: usize, n: i32, to: usize): void {
  const end = windowPtr + (<usize>n << 2);
  let p = from, o = to;
  for (let w = windowPtr; w < end; w += 16) {
    v128.store(o, f32x4.mul(v128.load(p), v128.load_splat<f32>(w)));
    v128.store(o, f32x4.mul(v128.load(p, 16), v128.load_splat<f32>(w, 4)), 16);
    v128.store(o, f32x4.mul(v128.load(p, 32), v128.load_splat<f32>(w, 8)), 32);
    v128.store(o, f32x4.mul(v128.load(p, 48), v128.load_splat<f32>(w, 12)), 48);
    p += 64;
    o += 64;
  }
}
