import { cosTurn } from '../numeric/elementary.js';
import { SmallFft } from './small-fft.js';

const FRAME = 512, HOP = 128;
/** Common practice, no source: parts more than 20 dB below the strongest do not count as the call's band. */
const BELOW_PEAK = 100;

/**
 * Lowest and highest frequency of a call, Hz: edges of the outermost bins within `bandHz` whose mean power (Hann windows of 512 samples)
 * lies within 20 dB of the strongest. A call shorter than a window is padded with zeros. Undefined for silence.
 */
export function measureCallBand(samples: Float32Array, sampleRateHz: number, bandHz: readonly [number, number] = [0, sampleRateHz / 2]): [number, number] | undefined {
  const power = new Float64Array(FRAME / 2 + 1), fft = new SmallFft(FRAME);
  for (let start = 0; start === 0 || start + FRAME <= samples.length; start += HOP) {
    const re = new Float64Array(FRAME), im = new Float64Array(FRAME), length = Math.min(FRAME, samples.length - start);
    for (let i = 0; i < length; i++) re[i] = samples[start + i] * (0.5 - 0.5 * cosTurn((i + 0.5) / length));
    // For real samples the inverse transform has the same power as the forward one.
    fft.inverse(re, im);
    for (let k = 0; k < power.length; k++) power[k] += re[k] * re[k] + im[k] * im[k];
  }
  const stepHz = sampleRateHz / FRAME;
  const first = Math.max(0, Math.ceil(bandHz[0] / stepHz)), last = Math.min(FRAME / 2, Math.floor(bandHz[1] / stepHz));
  let peak = 0;
  for (let k = first; k <= last; k++) peak = Math.max(peak, power[k]);
  if (!(peak > 0)) return undefined;
  let low = first, high = last;
  while (power[low] * BELOW_PEAK < peak) low++;
  while (power[high] * BELOW_PEAK < peak) high--;
  return [Math.max(0, (low - 0.5) * stepHz), Math.min(sampleRateHz / 2, (high + 0.5) * stepHz)];
}
