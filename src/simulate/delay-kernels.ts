import { getFft } from './fft.js';

/** Taps of one fractional delay; the wanted delay lies between taps CENTER_TAP and CENTER_TAP + 1. */
export const KERNEL_TAPS = 48;
export const CENTER_TAP = 23;
const PHASES = 64;
const GRID = 8192;
/** Steps of high-frequency loss (dB at 8 kHz) and of air path (m). */
export const LOSS_STEP_DB = 1;
export const AIR_STEP_M = 0.5;

/** Shape of the high-frequency loss of walls, feathers and directivity: 1 at 8 kHz, growing with f^1.2, held above 16 kHz. */
export function highLossShape(freqHz: number): number {
  return Math.pow(Math.min(freqHz, 16000) / 8000, 1.2);
}

/**
 * Fractional-delay kernels (windowed, linear phase, 1/64 sample grid) that carry a high-frequency loss and the air
 * absorption of a path. Made when first asked for, by an inverse transform of the wanted response at 64-fold rate.
 */
export class DelayKernels {
  private readonly kernels = new Map<number, Float64Array>();

  /** @param airDbPerM absorption of air at a frequency */
  constructor(private readonly sampleRateHz: number, private readonly airDbPerM: (freqHz: number) => number) {}

  /** Adds gain * kernel into out so that the pulse stands at delayFrames (positions outside out are dropped). */
  addPulse(out: Float64Array, delayFrames: number, gain: number, lossDb: number, pathM: number): void {
    const kernel = this.getKernel(Math.round(lossDb / LOSS_STEP_DB), Math.round(pathM / AIR_STEP_M));
    let whole = Math.floor(delayFrames);
    let phase = Math.round((delayFrames - whole) * PHASES);
    if (phase === PHASES) { phase = 0; whole++; }
    const base = phase * KERNEL_TAPS;
    const first = whole - CENTER_TAP;
    const from = Math.max(0, -first), to = Math.min(KERNEL_TAPS, out.length - first);
    for (let t = from; t < to; t++) out[first + t] += gain * kernel[base + t];
  }

  private getKernel(lossIndex: number, airIndex: number): Float64Array {
    const loss = Math.max(-20, Math.min(80, lossIndex)), air = Math.max(0, Math.min(200, airIndex));
    const key = (loss + 32) * 256 + air;
    let kernel = this.kernels.get(key);
    if (!kernel) { kernel = this.design(loss * LOSS_STEP_DB, air * AIR_STEP_M); this.kernels.set(key, kernel); }
    return kernel;
  }

  private design(lossDb: number, pathM: number): Float64Array {
    const re = new Float64Array(GRID), im = new Float64Array(GRID);
    const nyquistBin = GRID / (2 * PHASES);
    for (let k = 0; k <= nyquistBin; k++) {
      const freqHz = (k / nyquistBin) * (this.sampleRateHz / 2);
      // A raised-cosine end between 0.9 and 1 of Nyquist keeps the kernel short.
      const edge = k / nyquistBin;
      const taper = edge < 0.9 ? 1 : 0.5 * (1 + Math.cos(Math.PI * Math.min(1, (edge - 0.9) / 0.1)));
      const h = taper * Math.pow(10, -(lossDb * highLossShape(freqHz) + pathM * this.airDbPerM(freqHz)) / 20);
      re[k] = h;
      if (k > 0) re[GRID - k] = h;
    }
    getFft(GRID).inverse(re, im);
    const kernel = new Float64Array(PHASES * KERNEL_TAPS);
    for (let phase = 0; phase < PHASES; phase++) {
      for (let t = 0; t < KERNEL_TAPS; t++) {
        const position = (t - CENTER_TAP) * PHASES - phase;
        const x = position / (PHASES * (KERNEL_TAPS / 2));
        const window = Math.abs(x) >= 1 ? 0 : 0.5 * (1 + Math.cos(Math.PI * x));
        kernel[phase * KERNEL_TAPS + t] = re[(position + GRID) % GRID] * PHASES * Math.sqrt(window);
      }
    }
    return kernel;
  }
}
