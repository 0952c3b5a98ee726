import type { Kernels } from '../kernels/kernels.js';
import { computePower, computeStft, createStftPlan } from '../kernels/stft.js';
import type { StftPlan } from '../kernels/stft.js';
import { ln } from '../numeric/elementary.js';
import type { SeparationSettings } from './settings.js';

// A share of an exponential distribution (the power of Gaussian noise in a bin) lies below -ln(1 - share) times its mean.
const QUANTILE = 0.3;
const TO_MEAN = -1 / ln(1 - QUANTILE);
/** Windows are taken this far apart, seconds. */
const STEP_SEC = 0.08;
/** Least variance of a sample: below the rounding of 20 bits. */
const LEAST_VARIANCE = 1e-13;

/** Measures the noise power per bin of blocks of samples. */
export class FloorMeter {
  private readonly plan: StftPlan;
  private readonly base: number;

  constructor(private readonly k: Kernels, private readonly settings: SeparationSettings) {
    this.plan = createStftPlan(k, { fftSize: settings.fftSize, hopFrames: Math.max(1, Math.round(STEP_SEC * settings.sampleRateHz)) });
    this.base = k.mark();
  }

  /** Bytes of kernel memory for blocks of up to `mostFrames`. */
  static countBytes(settings: SeparationSettings, mostFrames: number): number {
    const spectra = Math.ceil(mostFrames / (STEP_SEC * settings.sampleRateHz)) + 1;
    return spectra * settings.binCount * 36 + mostFrames * 4 + settings.fftSize * 64 + (1 << 20);
  }

  /** Mean noise power per bin: a low quantile over time, scaled to the mean of exponential noise. Lost stretches do not count. */
  measure(samples: Float32Array): Float32Array {
    const { k, plan, settings: { binCount } } = this;
    k.release(this.base);
    const floor = new Float32Array(binCount).fill(LEAST_VARIANCE * plan.windowSquareSum);
    const signal = k.allocF32(samples.length);
    k.f32(signal, samples.length).set(samples);
    const spectra = computeStft(k, plan, { signal, trackStrideFrames: samples.length, trackCount: 1, frameCount: samples.length });
    const power = computePower(k, spectra);
    const alive: number[] = [];
    for (let s = 0; s < spectra.spectrumCount; s++) if (power.subarray(s * binCount, (s + 1) * binCount).some((v) => v > 0)) alive.push(s);
    const column = new Float32Array(alive.length);
    for (let b = 0; b < binCount && alive.length > 0; b++) {
      for (let n = 0; n < alive.length; n++) column[n] = power[alive[n] * binCount + b];
      column.sort();
      floor[b] = Math.max(floor[b], column[Math.floor(QUANTILE * (column.length - 1))] * TO_MEAN);
    }
    return floor;
  }
}
