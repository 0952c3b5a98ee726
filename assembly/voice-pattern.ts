/**
 * Pattern of a voice from the spectrum of a call: see src/evidence/voice-pattern.ts, which packs and reads the same numbers.
 *
 * Formula: level[k] = fourth root of the energy in the k-th of 96 even parts of bins firstBin .. endBin-1 (a bin on an edge is shared), d[k] = level[k] less
 *   the mean of level[k-7 .. k+7] (those there are), v[k] = 127 d[k] / max |d| rounded, halves up, 0 where all are 0; number[n] = sum over i = 0 .. 5 of
 *   (v[6 n + i] + 128) 256^i.
 *   spectrumPtr read    f64
 *   scratchPtr  written f64[192]
 *   resultPtr   written f64[16]
 * Nothing may overlap. Source: found on simulated rooms (bench/NOTES.md, voices). Plain reference: test/reference/voice-pattern.ts.
 */
import { roundUp } from './inline/elementary';

const PARTS: i32 = 96;
const REACH: i32 = 7;
const PER_NUMBER: i32 = 6;

export function voicePattern(spectrumPtr: usize, firstBin: i32, endBin: i32, scratchPtr: usize, resultPtr: usize): void {
  compress(spectrumPtr, firstBin, endBin, scratchPtr);
  const pattern = scratchPtr + (<usize>PARTS << 3);
  let most: f64 = 0;
  for (let k = 0; k < PARTS; k++) {
    const from = max(0, k - REACH), to = min(PARTS, k + REACH + 1);
    let sum: f64 = 0;
    for (let p = scratchPtr + (<usize>from << 3), end = scratchPtr + (<usize>to << 3); p < end; p += 8) sum += load<f64>(p);
    const d = load<f64>(scratchPtr + (<usize>k << 3)) - sum / <f64>(to - from);
    store<f64>(pattern + (<usize>k << 3), d);
    most = max<f64>(most, abs<f64>(d));
  }
  for (let n = 0; n < PARTS / PER_NUMBER; n++) {
    let number: f64 = 0;
    for (let i = PER_NUMBER - 1; i >= 0; i--) {
      const d = load<f64>(pattern + (<usize>(n * PER_NUMBER + i) << 3));
      number = number * 256 + ((most > 0 ? roundUp((127 * d) / most) : 0) + 128);
    }
    store<f64>(resultPtr + (<usize>n << 3), number);
  }
}

function compress(spectrumPtr: usize, firstBin: i32, endBin: i32, levelPtr: usize): void {
  const width = <f64>(endBin - firstBin) / <f64>PARTS;
  for (let k = 0; k < PARTS; k++) {
    const from = <f64>firstBin + <f64>k * width, to = <f64>firstBin + <f64>(k + 1) * width;
    let sum: f64 = 0;
    for (let b = <i32>from; <f64>b < to && b < endBin; b++) {
      sum += max<f64>(0, load<f64>(spectrumPtr + (<usize>b << 3))) * (min<f64>(<f64>(b + 1), to) - max<f64>(<f64>b, from));
    }
    store<f64>(levelPtr + (<usize>k << 3), sqrt<f64>(sqrt<f64>(sum)));
  }
}
