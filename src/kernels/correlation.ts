/** Correlation of all pairs of tracks over lags, and its peaks. Positive lag: the second track of the pair is later. */
import { VolaryError } from '../schema/errors.js';
import type { CrossOptions, CrossSums } from './cross-spectra.js';
import { countCoveringSpectra, createCrossSums, sumRegion } from './cross-spectra.js';
import type { Ptr } from './kernel-exports.js';
import type { Kernels } from './kernels.js';
import type { SignalRegion, StftOptions } from './stft.js';
import { createStftPlan } from './stft.js';

export interface CorrelationOptions extends StftOptions, CrossOptions {
  /** Lags from -maxLagFrames to +maxLagFrames. Choose fftSize >= windowFrames + maxLagFrames, or long lags wrap. */
  maxLagFrames: number;
  /** Steps per frame: a power of two; fftSize * upsample at most 8192. Default 1. */
  upsample?: number;
  /** Divide by the root of both energies, so that a pure delay peaks at 1 (default). */
  isNormalised?: boolean;
}

/** Memory for correlations of one kind; made once, used for any region. */
export interface CorrelationPlan {
  readonly sums: CrossSums;
  readonly maxLagFrames: number;
  readonly upsample: number;
  readonly isNormalised: boolean;
  readonly table: Ptr;
  readonly scratch: Ptr;
  readonly out: Ptr;
  readonly peak: Ptr;
}

/** Correlations in the kernels' memory; valid until the plan is used again. */
export interface PairCorrelations {
  readonly ptr: Ptr;
  readonly trackCount: number;
  readonly pairCount: number;
  readonly upsample: number;
  /** Values per pair: 2 * maxLagFrames * upsample + 1. */
  readonly lagCount: number;
  /** View [pair][lag], from -maxLagFrames on, in steps of 1 / upsample frame. */
  readonly values: Float32Array;
}

/** Index of the pair (i, j), i < j, of `trackCount` tracks: rows of the upper triangle. */
export function pairIndex(i: number, j: number, trackCount: number): number {
  return (i * (2 * trackCount - i - 1)) / 2 + (j - i - 1);
}

/** Takes the memory. Throws `internal` where transform, lags and upsampling do not fit together. */
export function createCorrelationPlan(k: Kernels, options: CorrelationOptions): CorrelationPlan {
  const { fftSize, maxLagFrames, upsample = 1, isNormalised = true, trackCount } = options;
  const size = fftSize * upsample;
  if (!k.fn.fftKnowsSize(size)) {
    throw new VolaryError('internal', { what: 'wrong upsampled transform size', got: String(size), expected: 'a power of two from 8 to 8192' });
  }
  if (!(Number.isInteger(maxLagFrames) && maxLagFrames >= 0 && 2 * maxLagFrames <= fftSize)) {
    throw new VolaryError('internal', { what: 'wrong largest lag', got: String(maxLagFrames), expected: `0 to ${fftSize / 2}` });
  }
  const sums = createCrossSums(k, createStftPlan(k, options), options);
  const table = upsample === 1 ? sums.stft.table : k.alloc(k.fn.fftTableBytes(size));
  k.fn.fftPrepare(size, table);
  return {
    sums, maxLagFrames, upsample, isNormalised, table,
    scratch: k.alloc((3 * size + 3 + sums.groupCount) * 16),
    out: k.allocF32(((trackCount * (trackCount - 1)) / 2) * (2 * maxLagFrames * upsample + 1)),
    peak: k.alloc(32),
  };
}

export interface RegionOptions {
  /** f32[binCount] in the kernels' memory: weight of each bin, >= 0. */
  weight?: Ptr;
  /** f32[spectrumCount][binCount] in the kernels' memory: weight of each bin of each window, >= 0. */
  mask?: Ptr;
  /** Number of windows; default as many as cover the frames. */
  spectrumCount?: number;
}

/**
 * Averaged correlation of all pairs over frames [firstFrame, firstFrame + frameCount) of all tracks, in windows of the plan.
 * @example const r = correlateRegion(k, plan, region, onset, 2048); const peak = findPeak(k, plan, r, 0, 1);
 */
export function correlateRegion(
  k: Kernels, plan: CorrelationPlan, region: SignalRegion, firstFrame: number, frameCount: number, options: RegionOptions = {},
): PairCorrelations {
  const { stft } = plan.sums;
  if (region.trackCount !== plan.sums.trackCount) {
    throw new VolaryError('internal', { what: 'region and plan differ in tracks', got: String(region.trackCount), expected: String(plan.sums.trackCount) });
  }
  const spectrumCount = options.spectrumCount ?? countCoveringSpectra(frameCount, stft.windowFrames, stft.hopFrames);
  sumRegion(k, plan.sums, region, firstFrame, spectrumCount, options.mask ?? 0);
  return correlateSums(k, plan, options.weight);
}

/** Correlations from the plan's sums as they are: several weights over the same region need its spectra only once. */
export function correlateSums(k: Kernels, plan: CorrelationPlan, weight: Ptr = 0): PairCorrelations {
  const { sums, upsample, maxLagFrames } = plan;
  const { trackCount, stft } = sums;
  k.fn.correlationsFromCross(
    sums.cross, sums.auto, trackCount, stft.fftSize, sums.firstBin, sums.endBin, weight, plan.isNormalised ? 1 : 0,
    upsample, plan.table, plan.scratch, maxLagFrames * upsample, plan.out,
  );
  const pairCount = (trackCount * (trackCount - 1)) / 2;
  const lagCount = 2 * maxLagFrames * upsample + 1;
  return { ptr: plan.out, trackCount, pairCount, upsample, lagCount, values: k.f32(plan.out, pairCount * lagCount) };
}

export interface PeakOptions {
  /** largest (default); nearest: of the local maxima that reach the share, the one nearest to lag 0; earliest: the one of smallest lag. */
  choose?: 'largest' | 'nearest' | 'earliest';
  /** Share of the largest value that a local maximum must reach; default 0.95. */
  share?: number;
  /** Between the samples: cosine (default), exact for narrow bands; parabola; none. */
  interpolate?: 'cosine' | 'parabola' | 'none';
  /** Lags [fromFrames, toFrames] to search; default all. */
  fromFrames?: number;
  toFrames?: number;
}

export interface LagPeak {
  /** NaN where there is no positive value. */
  lagFrames: number;
  /** Correlation at the peak; 0 where there is none. */
  value: number;
  /** Largest other local maximum in the range, 0 if none. */
  otherValue: number;
}

const CHOOSE_CODE = { largest: 0, nearest: 1, earliest: 2 };
const INTERPOLATE_CODE = { none: 0, parabola: 1, cosine: 2 };

/** Peak of the pair (i, j): lag of j against i; for i > j the pair is reversed. */
export function findPeak(k: Kernels, plan: CorrelationPlan, r: PairCorrelations, i: number, j: number, options: PeakOptions = {}): LagPeak {
  const isReversed = i > j;
  const choose = options.choose ?? 'largest';
  const centre = (r.lagCount - 1) / 2;
  let low = Math.max(0, Math.ceil(centre + (options.fromFrames ?? -Infinity) * r.upsample));
  let high = Math.min(r.lagCount - 1, Math.floor(centre + (options.toFrames ?? Infinity) * r.upsample));
  if (isReversed) [low, high] = [r.lagCount - 1 - high, r.lagCount - 1 - low];
  if (isReversed && choose === 'earliest') throw new VolaryError('internal', { what: 'the earliest peak needs i < j' });
  const row = isReversed ? pairIndex(j, i, r.trackCount) : pairIndex(i, j, r.trackCount);
  k.fn.peakLag(
    r.ptr + 4 * row * r.lagCount, r.lagCount, low, high + 1, CHOOSE_CODE[choose], options.share ?? 0.95,
    INTERPOLATE_CODE[options.interpolate ?? 'cosine'], plan.peak,
  );
  const [lag, value, , otherValue] = k.f64(plan.peak, 4);
  return { lagFrames: (isReversed ? -lag : lag) / r.upsample, value, otherValue };
}
