/**
 * What a voice is like beyond the rough shape of its spectrum: where harmonics and resonances lie. The spectrum of a call, over the call band and on a
 * compressed scale, less its own running mean, as a pattern of small whole numbers; two calls compare by the cosine of their patterns.
 */

/** Values in a pattern, evenly spaced over the call band. */
export const VOICE_BINS = 96;
/** Values are whole numbers of 8 bits; six of them stand in one number exactly, so that a candidate stays a row of few numbers. */
const PER_NUMBER = 6;
const BASE = 256;
const LARGEST = 127;
export const VOICE_NUMBERS = VOICE_BINS / PER_NUMBER;
/** The running mean reaches this far either way: a fifth of the band, wider than a harmonic's spacing, narrower than the shape that rooms and distance change. */
const REACH = 7;

/** @param spectrum energies by bin, of which [bins[0], bins[1]) are the call band @returns VOICE_NUMBERS numbers, to be read by `readVoicePattern` */
export function makeVoicePattern(spectrum: ArrayLike<number>, bins: readonly [number, number]): Float64Array {
  const level = compress(spectrum, bins);
  const pattern = new Float64Array(VOICE_BINS);
  let most = 0;
  for (let k = 0; k < VOICE_BINS; k++) {
    const from = Math.max(0, k - REACH), to = Math.min(VOICE_BINS, k + REACH + 1);
    let sum = 0;
    for (let j = from; j < to; j++) sum += level[j];
    pattern[k] = level[k] - sum / (to - from);
    most = Math.max(most, Math.abs(pattern[k]));
  }
  const out = new Float64Array(VOICE_NUMBERS);
  for (let k = VOICE_BINS - 1; k >= 0; k--) {
    const value = most > 0 ? Math.round((LARGEST * pattern[k]) / most) : 0;
    const n = Math.floor(k / PER_NUMBER);
    out[n] = out[n] * BASE + (value + BASE / 2);
  }
  return out;
}

/** Writes the VOICE_BINS values of a packed pattern to `out` from `at` on. */
export function readVoicePattern(packed: ArrayLike<number>, out: Int8Array, at = 0): void {
  for (let n = 0; n < VOICE_NUMBERS; n++) {
    let rest = packed[n];
    for (let k = 0; k < PER_NUMBER; k++) {
      const next = Math.floor(rest / BASE);
      out[at + n * PER_NUMBER + k] = rest - next * BASE - BASE / 2;
      rest = next;
    }
  }
}

/** Fourth roots of the energies of VOICE_BINS even parts of the band; a bin on an edge is shared. */
function compress(spectrum: ArrayLike<number>, bins: readonly [number, number]): Float64Array {
  const level = new Float64Array(VOICE_BINS);
  const width = (bins[1] - bins[0]) / VOICE_BINS;
  for (let k = 0; k < VOICE_BINS; k++) {
    const from = bins[0] + k * width, to = bins[0] + (k + 1) * width;
    let sum = 0;
    for (let b = Math.floor(from); b < to && b < bins[1]; b++) sum += Math.max(0, spectrum[b]) * (Math.min(b + 1, to) - Math.max(b, from));
    level[k] = Math.sqrt(Math.sqrt(sum));
  }
  return level;
}
