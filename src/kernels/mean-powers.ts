import type { Kernels } from './kernels.js';
import { computePower, computeStft, type SignalRegion, type StftPlan } from './stft.js';

/**
 * Mean power per bin of every track over `count` windows from `firstFrame` on, one window after another, so that memory does not grow with their number.
 * @param bins [first, end): bins outside stay 0 @returns [track][bin], of the plan's spectra
 */
export function measureMeanPowers(k: Kernels, stft: StftPlan, region: SignalRegion, firstFrame: number, count: number, bins: readonly [number, number]): Float64Array[] {
  const before = k.mark();
  const means = Array.from({ length: region.trackCount }, () => new Float64Array(stft.binCount));
  for (let s = 0; s < count; s++) {
    const power = computePower(k, computeStft(k, stft, region, firstFrame + s * stft.hopFrames, 1));
    means.forEach((mean, j) => { for (let b = bins[0]; b < bins[1]; b++) mean[b] += power[j * stft.binCount + b] / count; });
    k.release(before);
  }
  return means;
}
