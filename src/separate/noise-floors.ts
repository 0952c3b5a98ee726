import type { Kernels } from '../kernels/kernels.js';
import { computePower, computeStft, createStftPlan, placeSamples } from '../kernels/stft.js';
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
    const spectra = Math.ceil(mostFrames / (STEP_SEC * settings.sampleRateHz)) + 1, bins = settings.binCount;
    return spectra * bins * (32 + 16 + 4) + mostFrames * 16 + (spectra + 4 * bins) * 4 + settings.fftSize * 64 + (1 << 20);
  }

  /** Mean noise power per bin of every track: a low quantile over time, scaled to the mean of exponential noise. Lost stretches do not count. */
  measure(tracks: readonly Float32Array[]): Float32Array[] {
    const { k, plan, settings: { binCount } } = this, out: Float32Array[] = [];
    for (let g = 0; g < tracks.length; g += 4) {
      k.release(this.base);
      const group = tracks.slice(g, g + 4), spectra = computeStft(k, plan, placeSamples(k, group)), count = spectra.spectrumCount, power = computePower(k, spectra);
      const columns = k.allocF32(count * binCount), energies = k.f32(columns, count * binCount), scratch = k.allocF32(Math.max(1, count) + binCount), floor = k.allocF32(binCount);
      for (let t = 0; t < group.length; t++) {
        for (let s = 0; s < count; s++) for (let b = 0, i = (t * count + s) * binCount; b < binCount; b++, i++) energies[b * count + s] = power[i];
        if (count > 0) k.fn.noiseFloor(columns, count * binCount, count, QUANTILE, 0, scratch, floor);
        const least = LEAST_VARIANCE * plan.windowSquareSum;
        out.push(count > 0 ? k.f32(floor, binCount).map((v) => Math.max(least, v * TO_MEAN)) : new Float32Array(binCount).fill(least));
      }
    }
    return out;
  }
}
