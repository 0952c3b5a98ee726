import { computeStft } from '../kernels/stft.js';
import type { SignalRegion, StftPlan } from '../kernels/stft.js';
import type { Kernels } from '../kernels/kernels.js';
import { ln } from '../numeric/elementary.js';
import { takeLanes } from './section.js';
import type { SeparationSettings } from './settings.js';

// A share of an exponential distribution (the power of Gaussian noise in a bin) lies below -ln(1 - share) times its mean.
const QUANTILE = 0.3;
const TO_MEAN = -1 / ln(1 - QUANTILE);
/** Windows are taken this far apart, seconds. */
const STEP_SEC = 0.08;
/** Least variance of a sample: below the rounding of 20 bits. */
const LEAST_VARIANCE = 1e-13;

/** Bytes of kernel memory that floors of blocks of up to `mostFrames` take for a time, the samples among them. */
export function countFloorBytes({ binCount, sampleRateHz }: SeparationSettings, mostFrames: number, trackCount: number): number {
  const spectra = Math.ceil(mostFrames / (STEP_SEC * sampleRateHz)) + 1;
  return spectra * (binCount + 1) * (32 + 16) + mostFrames * 4 * trackCount + spectra * 16 + (1 << 16);
}

/** Mean noise power per bin of every track of some groups of four: a low quantile over time, scaled to the mean of exponential noise. Lost stretches do not count. */
export function measureFloors(k: Kernels, plan: StftPlan, { sampleRateHz, binCount }: SeparationSettings, groups: readonly SignalRegion[]): Float32Array[] {
  const out: Float32Array[] = [], sparse = { ...plan, hopFrames: Math.max(1, Math.round(STEP_SEC * sampleRateHz)) }, least = LEAST_VARIANCE * plan.windowSquareSum;
  // The quantiles want an even number of columns.
  const columns = binCount + (binCount & 1);
  for (const region of groups) {
    const mark = k.mark(), { ptr, spectrumCount } = computeStft(k, sparse, region);
    const rows = k.alloc(16 * spectrumCount * columns), usable = k.alloc(16), floor = k.alloc(16 * columns);
    k.fn.powerRows(ptr, spectrumCount, binCount, columns, rows, usable);
    const counts = k.i32(usable, 4), isKnown = Array.from(counts, (n) => n > 0);
    counts.forEach((n, t) => { counts[t] = Math.round(QUANTILE * Math.max(0, n - 1)); });
    k.fn.lowQuantiles(rows, spectrumCount, columns, usable, 1, k.alloc(16 * spectrumCount), floor);
    takeLanes(k.f32(floor, 4 * binCount), region.trackCount).forEach((row, t) => out.push(row.map((v) => (isKnown[t] ? Math.max(least, TO_MEAN * v) : least))));
    k.release(mark);
  }
  return out;
}
