/**
 * What the spectrum of a sound and its course in time are like.
 *
 * describeSpectrum: over bins firstBin .. endBin-1 of e, with T = max(1e-30, sum of e): result[0] = sum of e, [1] = largest e (0 at least), [2] = its
 *   bin (the first; firstBin where all are 0), [3] = sum of b e_b / T = m, [4] = - sum of q ln q over q = e / T > 0, [5] = sum of q (b - m)^2, and
 *   [6 + n] = root of the share of T in the bins whose place is n, n = 0 .. 15.
 *   spectrumPtr read f64; placePtr read u8[endBin - firstBin], 0 .. 15; resultPtr written f64[22]
 * describeCourse: result[0] = sum of x, [1] = largest x, [2] = largest of the first three (0 at least), [3] = - sum of (x / sum) ln(x / sum) over x > 0, 0 unless
 *   the sum is above 0.
 *   coursePtr read f64[count]; resultPtr written f64[4]
 * Values are 0 or normal numbers, none below 0. Sums run in f64 in the order of bins and of frames; nothing may overlap.
 * Source: definitions (entropy: Shannon 1948). Plain reference: test/reference/sound-shape.ts.
 */
import { lnOf } from './inline/elementary';

const LEAST_NORMAL: f64 = 2.2250738585072014e-308;

export function describeSpectrum(spectrumPtr: usize, firstBin: i32, endBin: i32, placePtr: usize, resultPtr: usize): void {
  let total: f64 = 0, top: f64 = 0, centroid: f64 = 0;
  let peak = firstBin;
  for (let b = firstBin; b < endBin; b++) {
    const e = load<f64>(spectrumPtr + (<usize>b << 3));
    total += e;
    centroid += <f64>b * e;
    if (e > top) {
      top = e;
      peak = b;
    }
  }
  store<f64>(resultPtr, total);
  store<f64>(resultPtr, top, 8);
  store<f64>(resultPtr, <f64>peak, 16);
  total = max<f64>(total, 1e-30);
  centroid /= total;
  store<f64>(resultPtr, centroid, 24);
  const bands = resultPtr + 48;
  memory.fill(bands, 0, 128);
  let entropy: f64 = 0, spread: f64 = 0;
  for (let b = firstBin; b < endBin; b++) {
    const e = load<f64>(spectrumPtr + (<usize>b << 3));
    const band = bands + (<usize>load<u8>(placePtr + <usize>(b - firstBin)) << 3);
    store<f64>(band, load<f64>(band) + e);
    const q = e / total;
    // Below, a share adds nothing that f64 could hold.
    if (q >= LEAST_NORMAL) entropy -= q * lnOf(q);
    const away = <f64>b - centroid;
    spread += q * (away * away);
  }
  store<f64>(resultPtr, entropy, 32);
  store<f64>(resultPtr, spread, 40);
  for (let p = bands; p < bands + 128; p += 8) store<f64>(p, sqrt<f64>(load<f64>(p) / total));
}

export function describeCourse(coursePtr: usize, count: i32, resultPtr: usize): void {
  let sum: f64 = 0, most: f64 = 0, early: f64 = 0, entropy: f64 = 0;
  const end = coursePtr + (<usize>count << 3);
  for (let p = coursePtr; p < end; p += 8) {
    sum += load<f64>(p);
    most = max<f64>(most, load<f64>(p));
    if (p < coursePtr + 24) early = most;
  }
  if (sum > 0) {
    for (let p = coursePtr; p < end; p += 8) {
      const q = load<f64>(p) / sum;
      if (q >= LEAST_NORMAL) entropy -= q * lnOf(q);
    }
  }
  store<f64>(resultPtr, sum);
  store<f64>(resultPtr, most, 8);
  store<f64>(resultPtr, early, 16);
  store<f64>(resultPtr, entropy, 24);
}
