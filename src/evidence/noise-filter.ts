import { cosTurn, log10, sinTurn } from '../numeric/elementary.js';
import type { FloorSpectrum } from './floors.js';

/** Coefficients of a finite impulse response that flattens noise; none where there is nothing to flatten. */
export type NoiseFilter = Float32Array;

/** Noise up to this many times the band's median floor is left as it is. */
const MOST_OVER_MEDIAN = 2;
/** What stands out is taken out where that takes so much of some track's noise in the call band away. */
const LEAST_LOSS_DB = 3;
/** Nothing is followed further up than this, in multiples of what is left as it is. */
const MOST_RISE = 1e7;
/** A track whose median floor is lower holds no sound of a microphone: a dead channel and what converters leave there say nothing. Common practice, no source. */
const LEAST_FLOOR = 1e-12;
/** White noise added to the autocorrelation, as a share: keeps its equations well conditioned. */
const REGULARISATION = 1e-9;

/** Coefficients of the filters of a transform size: two thirds of a millisecond, a multiple of four. */
export function countTaps(fftSize: number): number {
  return Math.max(4, fftSize / 16);
}

/**
 * Filter, one for all tracks, that lets no steady noise stand far out of the others: levels are sums over the whole call band, in which a fan, mains or a
 * whistle in a part of it would drown the calls elsewhere. All tracks pass the same filter, so that their levels and lags relative to each other stay.
 * Method: per bin the largest floor of any track over the median of its band, as a spectrum of power; its linear prediction (autocorrelation method,
 * Levinson and Durbin; Makhoul 1975, "Linear prediction: a tutorial review", from memory) gives the prediction error filter, whose |H|^2 is about one over it,
 * of minimum phase; scaled to a median gain of 0 dB in the band.
 * @param floors per track, mean noise power per bin; empty where the track has no sound
 * @param bins the call band, half-open
 * @param response |H|^2 per bin of what passes for the call band: what lies outside counts as much as leaks in
 * @param tapCount coefficients wanted, a multiple of 4
 * @returns no coefficients where the noise is even enough
 */
export function designNoiseFilter(floors: readonly FloorSpectrum[], bins: readonly [number, number], response: ArrayLike<number>, tapCount: number): NoiseFilter {
  const heard = floors.filter((f) => f.length > 0 && findMedian(f.subarray(bins[0], bins[1])) >= LEAST_FLOOR);
  const rise = measureRise(heard, bins);
  const isUneven = heard.some((f) => {
    let all = 0, left = 0;
    for (let b = 0; b < f.length; b++) {
      all += f[b] * response[b];
      left += (f[b] * response[b]) / rise[b];
    }
    return all > 0 && 10 * log10(all / left) >= LEAST_LOSS_DB;
  });
  if (!isUneven) return new Float32Array(0);
  const taps = predictError(correlate(widen(rise), tapCount));
  const middle = findMedian(measureGain(taps, heard[0].length).subarray(bins[0], bins[1]));
  const scale = 1 / Math.sqrt(middle);
  return Float32Array.from(taps, (v) => v * scale);
}

/** |H|^2 of a filter at the bins of a spectrum. */
export function measureGain(taps: ArrayLike<number>, binCount: number): Float64Array {
  return Float64Array.from({ length: binCount }, (_, b) => {
    let re = 0, im = 0;
    for (let n = 0; n < taps.length; n++) {
      const turns = (b * n) / (2 * (binCount - 1));
      re += taps[n] * cosTurn(turns);
      im += taps[n] * sinTurn(turns);
    }
    return re * re + im * im;
  });
}

/** By how many times the noise of the track where it stands out most exceeds what is left as it is, at least 1. */
function measureRise(floors: readonly FloorSpectrum[], bins: readonly [number, number]): Float64Array {
  const out = new Float64Array(floors[0]?.length ?? 0).fill(1);
  for (const f of floors) {
    const left = MOST_OVER_MEDIAN * findMedian(f.subarray(bins[0], bins[1]));
    for (let b = 0; b < out.length; b++) out[b] = Math.min(MOST_RISE, Math.max(out[b], f[b] / left));
  }
  return out;
}

/** The largest of each bin and its neighbours: a whistle is wider in a spectrum than its floor, which is smoothed. */
function widen(rise: Float64Array): Float64Array {
  return rise.map((v, b) => Math.max(v, rise[Math.max(0, b - 1)], rise[Math.min(rise.length - 1, b + 1)]));
}

/** Autocorrelation of a spectrum of power at lags 0 .. count-1. */
function correlate(power: Float64Array, count: number): Float64Array {
  const last = power.length - 1;
  const out = Float64Array.from({ length: count }, (_, n) => {
    let a = power[0] + (n % 2 ? -1 : 1) * power[last];
    for (let b = 1; b < last; b++) a += 2 * power[b] * cosTurn((b * n) / (2 * last));
    return a / (2 * last);
  });
  out[0] *= 1 + REGULARISATION;
  return out;
}

/** Coefficients 1, a1 .. of the prediction error filter of an autocorrelation (Levinson and Durbin). */
export function predictError(correlation: ArrayLike<number>): Float64Array {
  const a = new Float64Array(correlation.length), before = new Float64Array(correlation.length);
  a[0] = 1;
  let error = correlation[0];
  for (let m = 1; m < a.length; m++) {
    let sum = correlation[m];
    for (let i = 1; i < m; i++) sum += a[i] * correlation[m - i];
    const reflection = -sum / error;
    before.set(a);
    for (let i = 1; i <= m; i++) a[i] = before[i] + reflection * before[m - i];
    error *= 1 - reflection * reflection;
  }
  return a;
}

function findMedian(values: Float32Array | Float64Array): number {
  return Float64Array.from(values).sort()[values.length >> 1];
}
