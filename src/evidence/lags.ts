import type { SetLag, SetLevels } from '../kernels/stretch-kernels.js';
import { sumLevels } from './ownership.js';
import { SmallFft } from './small-fft.js';
import { complexIndex, type StretchSpectra } from './spectra.js';
import type { FloorSpectrum } from './floors.js';

export interface LagReading {
  lagSec: number;
  agreement: number;
  agreementZ: number;
  zeroLag: number;
}

/** Owned bins of a candidate: indices frame * binCount + bin. */
export type BinSet = Uint32Array;

/**
 * Lag of track `other` after track `own` by phase correlation over a set of time-frequency bins: the cross-spectrum conj(X_own) X_other is
 * whitened per bin, weighted by the other track's signal share, summed over frames and transformed; the largest value within +-maxLagSec is
 * refined by a parabola (Knapp and Carter 1976, generalised cross-correlation with phase transform, here on short frames).
 */
export class LagMeter {
  private readonly fft: SmallFft;
  private readonly re: Float64Array;
  private readonly im: Float64Array;
  private readonly fftSize: number;
  private readonly sampleRateHz: number;
  private readonly maxSteps: number;

  constructor(fftSize: number, sampleRateHz: number, maxLagSec: number) {
    this.fftSize = fftSize;
    this.sampleRateHz = sampleRateHz;
    this.fft = new SmallFft(2 * fftSize);
    this.re = new Float64Array(2 * fftSize);
    this.im = new Float64Array(2 * fftSize);
    // Two steps per sample; frames of fftSize see no further than half their length.
    this.maxSteps = Math.min(fftSize - 2, Math.round(2 * maxLagSec * sampleRateHz));
  }

  /** Readings of all tracks after track `own` (what stands at `own` has no meaning), and the levels of all, split at a bin. */
  measureSet(s: StretchSpectra, floors: readonly FloorSpectrum[], own: number, set: BinSet, splitBin: number): { readings: LagReading[]; levels: SetLevels } {
    if (!s.kernels?.fitsLags(this.maxSteps)) return { readings: floors.map((_, other) => this.measure(s, floors, own, other, set)), levels: sumLevels(s, floors, set, splitBin) };
    const { lags, levels } = s.kernels.measureSet(floors, own, set, this.maxSteps, splitBin);
    return { readings: lags.map((lag) => this.toReading(lag)), levels };
  }

  measure(s: StretchSpectra, floors: readonly FloorSpectrum[], own: number, other: number, set: BinSet): LagReading {
    const { re, im } = this;
    re.fill(0);
    im.fill(0);
    const { complex, binCount } = s;
    const p = s.power[other];
    const f = floors[other];
    let weightSum = 0;
    let squareSum = 0;
    for (let n = 0; n < set.length; n++) {
      const k = set[n];
      const bin = k % binCount;
      const excess = p[k] / f[bin] - 1;
      if (excess <= 0) continue;
      const a = complexIndex(s, (k - bin) / binCount, bin, own);
      const b = complexIndex(s, (k - bin) / binCount, bin, other);
      const xr = complex[a] * complex[b] + complex[a + 4] * complex[b + 4];
      const xi = complex[a] * complex[b + 4] - complex[a + 4] * complex[b];
      const m = Math.sqrt(xr * xr + xi * xi);
      if (!(m > 0)) continue;
      const w = excess / (1 + excess);
      re[bin] += (w * xr) / m;
      im[bin] += (w * xi) / m;
      weightSum += w;
      squareSum += w * w;
    }
    this.fft.inverse(re, im);
    return this.toReading(this.findPeak(weightSum, squareSum));
  }

  private findPeak(weightSum: number, squareSum: number): SetLag {
    const { re, maxSteps } = this;
    const size = 2 * this.fftSize;
    let best = 0;
    for (let n = -maxSteps; n <= maxSteps; n++) if (re[(n + size) % size] > re[(best + size) % size]) best = n;
    return {
      step: best, before: re[(best - 1 + size) % size], peak: re[(best + size) % size], after: re[(best + 1 + size) % size],
      atZero: re[0], weightSum, squareSum,
    };
  }

  private toReading({ step, before, peak, after, atZero, weightSum, squareSum }: SetLag): LagReading {
    const isHeard = weightSum > 0;
    const curve = before - 2 * peak + after;
    const shift = curve < 0 ? Math.max(-0.5, Math.min(0.5, (0.5 * (before - after)) / curve)) : 0;
    // Frames overlap by three quarters and a Hann window spreads over neighbours: about one bin in three is independent.
    const sigma = Math.sqrt((squareSum * 3) / 2);
    return {
      lagSec: isHeard ? (step + shift) / 2 / this.sampleRateHz : 0,
      agreement: isHeard ? peak / weightSum : 0,
      agreementZ: isHeard ? peak / sigma : 0,
      zeroLag: isHeard ? atZero / weightSum : 0,
    };
  }
}
