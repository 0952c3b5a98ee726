/**
 * Short-time spectra of up to four tracks as planes per track, whose rows are padded to whole vectors, and back to samples.
 *
 * Formula: planes[t][0][s][b] = re X_t(s, b), planes[t][1][s][b] = im X_t(s, b), power[t][s][b] = |X_t(s, b)|^2, t = 0 .. trackCount-1,
 * b = 0 .. n/2, X as in stft.ts, 0 behind the last bin. istftPlanes is the inverse as in istft.ts, lanes without a track 0.
 *   signalPtr, windowPtr, tablePtr, weightPtr, window as long as the transform: as in stft.ts and istft.ts
 *   scratchPtr written 3 n + 8 v128
 *   planesPtr  f32 [trackCount][re, im][spectrumCount][width], 16-aligned; width is n/2 + 4
 *   powerPtr   written f32 [trackCount][spectrumCount][width], 16-aligned
 * Nothing may overlap. A NaN spoils exactly the spectra of its own track whose window covers it.
 * Source: Allen & Rabiner 1977. Plain reference: test/reference/stft.ts, test/reference/spectra-planes.ts.
 */
import { POINT_BYTES } from './abi';
import { fftForward, fftInverse } from './fft';
import { loadLanes } from './inline/lanes';
import { addTracks, addWeights, divideByWeights } from './istft';

export function stftPlanes(
  signalPtr: usize, trackStrideFrames: i32, trackCount: i32, frameCount: i32, hopFrames: i32, spectrumCount: i32,
  n: i32, windowPtr: usize, tablePtr: usize, scratchPtr: usize, width: i32, planesPtr: usize, powerPtr: usize,
): void {
  const workPtr = scratchPtr + (<usize>n << 4), spectrumPtr = workPtr + (<usize>n << 4), rowBytes = <usize>width << 2, partBytes = <usize>spectrumCount * rowBytes;
  for (let s = 0; s < spectrumCount; s++) {
    loadLanes(signalPtr, trackStrideFrames, 0, trackCount, s * hopFrames, frameCount, windowPtr, n, n, scratchPtr);
    fftForward(n, tablePtr, scratchPtr, workPtr, spectrumPtr, <i32>POINT_BYTES);
    spreadSpectrum(spectrumPtr, n >> 1, trackCount, planesPtr + <usize>s * rowBytes, powerPtr + <usize>s * rowBytes, partBytes);
  }
}

export function istftPlanes(
  planesPtr: usize, spectrumCount: i32, trackCount: i32, n: i32, hopFrames: i32, windowPtr: usize, tablePtr: usize, scratchPtr: usize, width: i32, weightPtr: usize,
  signalPtr: usize, trackStrideFrames: i32, frameCount: i32,
): void {
  const workPtr = scratchPtr + (<usize>n << 4), spectrumPtr = workPtr + (<usize>n << 4), rowBytes = <usize>width << 2, partBytes = <usize>spectrumCount * rowBytes;
  memory.fill(weightPtr, 0, <usize>frameCount << 2);
  for (let t = 0; t < trackCount; t++) memory.fill(signalPtr + ((<usize>t * <usize>trackStrideFrames) << 2), 0, <usize>frameCount << 2);
  for (let s = 0; s < spectrumCount; s++) {
    const start = s * hopFrames, to = min(n, frameCount - start);
    gatherSpectrum(planesPtr + <usize>s * rowBytes, n >> 1, trackCount, partBytes, spectrumPtr);
    fftInverse(n, tablePtr, spectrumPtr, <i32>POINT_BYTES, workPtr, scratchPtr);
    addWeights(windowPtr, 0, to, start, weightPtr);
    addTracks(scratchPtr, windowPtr, 0, to, trackCount, signalPtr + (<usize>start << 2), <usize>trackStrideFrames << 2);
  }
  divideByWeights(weightPtr, frameCount, trackCount, signalPtr, trackStrideFrames);
}

/** One spectrum of `whole` bins, a multiple of 4, and one more to rows of planes and powers. */
function spreadSpectrum(spectrum: usize, whole: i32, trackCount: i32, row: usize, power: usize, partBytes: usize): void {
  let p = spectrum;
  for (const end = row + (<usize>whole << 2); row < end; row += 16, power += 16, p += 4 * POINT_BYTES) {
    const r0 = v128.load(p), r1 = v128.load(p, 32), r2 = v128.load(p, 64), r3 = v128.load(p, 96);
    const i0 = v128.load(p, 16), i1 = v128.load(p, 48), i2 = v128.load(p, 80), i3 = v128.load(p, 112);
    spread(r0, r1, r2, r3, row, 2 * partBytes, trackCount);
    spread(i0, i1, i2, i3, row + partBytes, 2 * partBytes, trackCount);
    spread(square(r0, i0), square(r1, i1), square(r2, i2), square(r3, i3), power, partBytes, trackCount);
  }
  const zero = f32x4.splat(0), re = v128.load(p), im = v128.load(p, 16);
  spread(re, zero, zero, zero, row, 2 * partBytes, trackCount);
  spread(im, zero, zero, zero, row + partBytes, 2 * partBytes, trackCount);
  spread(square(re, im), zero, zero, zero, power, partBytes, trackCount);
}

// @ts-ignore: decorator
@inline
function square(re: v128, im: v128): v128 { return f32x4.add(f32x4.mul(re, re), f32x4.mul(im, im)); }

/** Four points of four tracks to four bins of each track, tracks `stride` apart. */
// @ts-ignore: decorator
@inline
function spread(a: v128, b: v128, c: v128, d: v128, target: usize, stride: usize, trackCount: i32): void {
  const ab = v128.shuffle<f32>(a, b, 0, 4, 1, 5), cd = v128.shuffle<f32>(c, d, 0, 4, 1, 5);
  const ef = v128.shuffle<f32>(a, b, 2, 6, 3, 7), gh = v128.shuffle<f32>(c, d, 2, 6, 3, 7);
  v128.store(target, v128.shuffle<f32>(ab, cd, 0, 1, 4, 5));
  if (trackCount > 1) v128.store(target + stride, v128.shuffle<f32>(ab, cd, 2, 3, 6, 7));
  if (trackCount > 2) v128.store(target + 2 * stride, v128.shuffle<f32>(ef, gh, 0, 1, 4, 5));
  if (trackCount > 3) v128.store(target + 3 * stride, v128.shuffle<f32>(ef, gh, 2, 3, 6, 7));
}

/** One spectrum from rows of planes; four points beyond the last bin, which nobody reads, are written too. */
function gatherSpectrum(row: usize, whole: i32, trackCount: i32, partBytes: usize, spectrum: usize): void {
  const zero = f32x4.splat(0), stride = partBytes << 1;
  for (let part: usize = 0; part < 2; part++) {
    let p = row + part * partBytes, o = spectrum + (part << 4);
    for (const end = p + (<usize>(whole + 4) << 2); p < end; p += 16, o += 4 * POINT_BYTES) {
      const r1 = trackCount > 1 ? v128.load(p + stride) : zero, r2 = trackCount > 2 ? v128.load(p + 2 * stride) : zero, r3 = trackCount > 3 ? v128.load(p + 3 * stride) : zero;
      storePoints(o, v128.load(p), r1, r2, r3);
    }
  }
}

// @ts-ignore: decorator
@inline
function storePoints(o: usize, r0: v128, r1: v128, r2: v128, r3: v128): void {
  const a = v128.shuffle<f32>(r0, r1, 0, 4, 1, 5), b = v128.shuffle<f32>(r2, r3, 0, 4, 1, 5);
  const c = v128.shuffle<f32>(r0, r1, 2, 6, 3, 7), d = v128.shuffle<f32>(r2, r3, 2, 6, 3, 7);
  v128.store(o, v128.shuffle<f32>(a, b, 0, 1, 4, 5));
  v128.store(o, v128.shuffle<f32>(a, b, 2, 3, 6, 7), 32);
  v128.store(o, v128.shuffle<f32>(c, d, 0, 1, 4, 5), 64);
  v128.store(o, v128.shuffle<f32>(c, d, 2, 3, 6, 7), 96);
}
