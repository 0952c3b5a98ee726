/** Second-order filters (bilinear transform, the widely used cookbook forms of R. Bristow-Johnson) run in place. */
export interface Biquad { b0: number; b1: number; b2: number; a1: number; a2: number }

/** Keeps a corner below 0.45 of the sample rate: above that a bilinear corner means nothing. */
function angular(freqHz: number, sampleRateHz: number): number {
  return (2 * Math.PI * Math.min(freqHz, 0.45 * sampleRateHz)) / sampleRateHz;
}

function normalize(b0: number, b1: number, b2: number, a0: number, a1: number, a2: number): Biquad {
  return { b0: b0 / a0, b1: b1 / a0, b2: b2 / a0, a1: a1 / a0, a2: a2 / a0 };
}

export function designLowPass(freqHz: number, q: number, sampleRateHz: number): Biquad {
  const w = angular(freqHz, sampleRateHz), c = Math.cos(w), alpha = Math.sin(w) / (2 * q);
  return normalize((1 - c) / 2, 1 - c, (1 - c) / 2, 1 + alpha, -2 * c, 1 - alpha);
}

export function designHighPass(freqHz: number, q: number, sampleRateHz: number): Biquad {
  const w = angular(freqHz, sampleRateHz), c = Math.cos(w), alpha = Math.sin(w) / (2 * q);
  return normalize((1 + c) / 2, -(1 + c), (1 + c) / 2, 1 + alpha, -2 * c, 1 - alpha);
}

/** Band pass with 0 dB at the centre. */
export function designBandPass(freqHz: number, q: number, sampleRateHz: number): Biquad {
  const w = angular(freqHz, sampleRateHz), c = Math.cos(w), alpha = Math.sin(w) / (2 * q);
  return normalize(alpha, 0, -alpha, 1 + alpha, -2 * c, 1 - alpha);
}

/** Low shelf: gainDb below freqHz, 0 dB above; slope 1. */
export function designLowShelf(freqHz: number, gainDb: number, sampleRateHz: number): Biquad {
  const w = angular(freqHz, sampleRateHz), c = Math.cos(w), a = Math.pow(10, gainDb / 40);
  const k = 2 * Math.sqrt(a) * (Math.sin(w) / 2) * Math.SQRT2;
  return normalize(a * (a + 1 - (a - 1) * c + k), 2 * a * (a - 1 - (a + 1) * c), a * (a + 1 - (a - 1) * c - k),
    a + 1 + (a - 1) * c + k, -2 * (a - 1 + (a + 1) * c), a + 1 + (a - 1) * c - k);
}

/** High shelf: gainDb above freqHz, 0 dB below; slope 1. */
export function designHighShelf(freqHz: number, gainDb: number, sampleRateHz: number): Biquad {
  const w = angular(freqHz, sampleRateHz), c = Math.cos(w), a = Math.pow(10, gainDb / 40);
  const k = 2 * Math.sqrt(a) * (Math.sin(w) / 2) * Math.SQRT2;
  return normalize(a * (a + 1 + (a - 1) * c + k), -2 * a * (a - 1 + (a + 1) * c), a * (a + 1 + (a - 1) * c - k),
    a + 1 - (a - 1) * c + k, 2 * (a - 1 - (a + 1) * c), a + 1 - (a - 1) * c - k);
}

/** Filters x[start, end) in place from rest (transposed direct form II). */
export function applyBiquad(x: Float64Array, f: Biquad, start = 0, end = x.length): void {
  const { b0, b1, b2, a1, a2 } = f;
  let z1 = 0, z2 = 0;
  for (let i = start; i < end; i++) {
    const v = x[i];
    const y = b0 * v + z1;
    z1 = b1 * v - a1 * y + z2;
    z2 = b2 * v - a2 * y;
    x[i] = y;
  }
}

/** A chain of second-order filters that keeps its state from block to block. */
export class FilterChain {
  private readonly state: Float64Array;

  constructor(private readonly filters: readonly Biquad[]) { this.state = new Float64Array(2 * filters.length); }

  /** Filters the first `length` samples of a block in place. */
  process(x: Float64Array, length = x.length): void {
    this.filters.forEach(({ b0, b1, b2, a1, a2 }, f) => {
      let z1 = this.state[2 * f], z2 = this.state[2 * f + 1];
      for (let i = 0; i < length; i++) {
        const v = x[i], y = b0 * v + z1;
        z1 = b1 * v - a1 * y + z2;
        z2 = b2 * v - a2 * y;
        x[i] = y;
      }
      this.state[2 * f] = z1; this.state[2 * f + 1] = z2;
    });
  }
}

export function dbToGain(db: number): number { return Math.pow(10, db / 20); }

export function powerToDb(power: number): number { return 10 * Math.log10(Math.max(power, 1e-30)); }

/** Mean square of x[start, end). */
export function meanSquare(x: Float64Array, start = 0, end = x.length): number {
  let s = 0;
  for (let i = start; i < end; i++) s += x[i] * x[i];
  return end > start ? s / (end - start) : 0;
}

/** Scales x to unit root mean square; silence stays silence. */
export function normalizeRms(x: Float64Array, start = 0, end = x.length): void {
  const p = meanSquare(x, start, end);
  if (p <= 0) return;
  const g = 1 / Math.sqrt(p);
  for (let i = 0; i < x.length; i++) x[i] *= g;
}
