import { log2 } from '../numeric/elementary.js';
import { SmallFft } from './small-fft.js';

/** A lag at which a call may have arrived, and how far the correlation rises there, in standard deviations of what unrelated noise gives. */
export interface ArrivalPeak { lagFrames: number; height: number }

/** At least this much sound in one transform, seconds: a call and the lags around it. */
const LEAST_SEC = 0.16;
/** Bins this much below the loudest of the call tell little: power ratio. */
const QUIET = 1e-3;
const LEAST_HEIGHT = 5;
/** Rivals lower than this against the highest are left out. */
const LEAST_RATIO = 0.5;
const MOST_PEAKS = 4;

/**
 * Lags of one call over a reach beyond the frames of the extraction, with the rival peaks: phase correlation (Knapp and Carter 1976) over the
 * whole call in one transform. A call's own melody tells its periods apart, which short frames cannot.
 */
export class ArrivalMeter {
  /** Frames of every signal: the call with `reachFrames` before and after it. */
  readonly size: number;
  readonly reachFrames: number;
  private readonly fft: SmallFft;
  private readonly bins: [number, number];

  constructor(sampleRateHz: number, bandHz: readonly [number, number], reachSec: number) {
    this.size = 2 ** Math.ceil(log2(LEAST_SEC * sampleRateHz));
    this.reachFrames = Math.round(reachSec * sampleRateHz);
    this.fft = new SmallFft(this.size);
    this.bins = [Math.max(1, Math.round((bandHz[0] / sampleRateHz) * this.size)), Math.min(this.size / 2, Math.round((bandHz[1] / sampleRateHz) * this.size))];
  }

  /** Longest call that fits, frames; of longer ones the beginning is taken. */
  get mostFrames(): number { return this.size - 2 * this.reachFrames; }

  /**
   * @param own `size` samples of the caller's track, zero but for the call, which begins at `reachFrames`
   * @param others `size` samples of each other track from the same moment
   * @returns per other track the peaks, the highest first; positive lags = later than on the own track
   */
  measure(own: Float32Array, others: readonly Float32Array[]): ArrivalPeak[][] {
    const spectra = this.transformAll([own, ...others]);
    const [a] = spectra;
    const weights = this.weighBins(a);
    const out: ArrivalPeak[][] = [];
    for (let k = 1; k < spectra.length; k += 2) out.push(...this.correlatePair(a, weights, spectra.slice(k, k + 2)));
    return out;
  }

  /** Spectra (at e^{+i}) of real signals, two to a transform. */
  private transformAll(signals: readonly Float32Array[]): Spectrum[] {
    const { size } = this;
    const [low, high] = this.bins;
    const out: Spectrum[] = [];
    for (let s = 0; s < signals.length; s += 2) {
      const re = Float64Array.from(signals[s]);
      const im = signals[s + 1] ? Float64Array.from(signals[s + 1]) : new Float64Array(size);
      this.fft.inverse(re, im);
      const first = { re: new Float64Array(high), im: new Float64Array(high) };
      const second = { re: new Float64Array(high), im: new Float64Array(high) };
      for (let k = low; k < high; k++) {
        const m = size - k;
        first.re[k] = (re[k] + re[m]) / 2;
        first.im[k] = (im[k] - im[m]) / 2;
        second.re[k] = (im[k] + im[m]) / 2;
        second.im[k] = (re[m] - re[k]) / 2;
      }
      out.push(first);
      if (signals[s + 1]) out.push(second);
    }
    return out;
  }

  /** Share of the call in every bin of its own track over its magnitude. */
  private weighBins(a: Spectrum): Float64Array {
    const [low, high] = this.bins;
    const power = new Float64Array(high);
    let most = 0;
    for (let k = low; k < high; k++) { power[k] = a.re[k] * a.re[k] + a.im[k] * a.im[k]; if (power[k] > most) most = power[k]; }
    return power.map((p) => (p > 0 ? Math.sqrt(p) / (p + QUIET * most) : 0));
  }

  /** Correlations of one or two tracks with the own one, in one transform: the second stands in the imaginary part. */
  private correlatePair(a: Spectrum, weights: Float64Array, pair: readonly Spectrum[]): ArrivalPeak[][] {
    const { size } = this;
    const [low, high] = this.bins;
    const re = new Float64Array(size);
    const im = new Float64Array(size);
    const sigmas = pair.map((b, q) => {
      let squares = 0;
      for (let k = low; k < high; k++) {
        const magnitude = Math.sqrt(b.re[k] * b.re[k] + b.im[k] * b.im[k]);
        if (!(magnitude > 0)) continue;
        const g = weights[k] / magnitude;
        const x = g * (a.re[k] * b.re[k] + a.im[k] * b.im[k]);
        const y = g * (a.im[k] * b.re[k] - a.re[k] * b.im[k]);
        squares += x * x + y * y;
        if (q === 0) { re[k] += x; im[k] += y; re[size - k] += x; im[size - k] -= y; } else { re[k] -= y; im[k] += x; re[size - k] += y; im[size - k] += x; }
      }
      return Math.sqrt(2 * squares);
    });
    this.fft.inverse(re, im);
    return pair.map((_, q) => this.findPeaks(q === 0 ? re : im, sigmas[q]));
  }

  private findPeaks(r: Float64Array, sigma: number): ArrivalPeak[] {
    const { size, reachFrames } = this;
    const peaks: ArrivalPeak[] = [];
    for (let n = -reachFrames; n <= reachFrames; n++) {
      const before = r[(n - 1 + size) % size];
      const at = r[(n + size) % size];
      const after = r[(n + 1 + size) % size];
      if (!(at >= LEAST_HEIGHT * sigma) || at <= before || at < after) continue;
      peaks.push({ lagFrames: n + (0.5 * (before - after)) / (before - 2 * at + after), height: at / sigma });
    }
    peaks.sort((p, q) => q.height - p.height);
    return peaks.filter((p, k) => k < MOST_PEAKS && p.height >= LEAST_RATIO * peaks[0].height);
  }
}

interface Spectrum { re: Float64Array; im: Float64Array }
