import { ln } from '../numeric/elementary.js';

/** Mean noise power per bin of one track over one cell of time. */
export type FloorSpectrum = Float32Array;

// A share of an exponential distribution (the power of Gaussian noise in a bin) lies below -ln(1 - share) times its mean.
export const FLOOR_QUANTILE = 0.25;
const TO_MEAN = 1 / -ln(1 - FLOOR_QUANTILE);
const LEAST_POWER = 1e-14;

/** A low quantile over time of every bin, from spectra of power, one per row (at least one). */
export function findLowQuantiles(rows: readonly Float32Array[]): Float32Array {
  const column = new Float32Array(rows.length);
  return rows[0].map((_, b) => {
    for (let k = 0; k < rows.length; k++) column[k] = rows[k][b];
    return selectValue(column, Math.floor(FLOOR_QUANTILE * (rows.length - 1)));
  });
}

/**
 * The floor that low quantiles of one track's bins over time give: scaled to the mean of exponential noise, then a median over neighbouring bins.
 * Robust as long as sound fills less than about two thirds of the time in a bin.
 */
export function finishFloor(quantiles: Float32Array): FloorSpectrum {
  return smoothBins(quantiles.map((v) => Math.max(LEAST_POWER, v * TO_MEAN)));
}

/** The k-th smallest value (from 0) of numbers that are not NaN, which are reordered: Hoare 1961, algorithm 65. */
export function selectValue(x: Float32Array, k: number): number {
  let low = 0;
  let high = x.length - 1;
  while (low < high) {
    const pivot = x[(low + high) >> 1];
    let i = low;
    let j = high;
    while (i <= j) {
      while (x[i] < pivot) i++;
      while (x[j] > pivot) j--;
      if (i > j) break;
      const v = x[i];
      x[i++] = x[j];
      x[j--] = v;
    }
    if (k <= j) high = j;
    else if (k >= i) low = i;
    else break;
  }
  return x[k];
}

function smoothBins(raw: Float32Array): Float32Array {
  const out = new Float32Array(raw.length);
  const w = new Float32Array(5);
  for (let b = 0; b < raw.length; b++) {
    for (let k = -2; k <= 2; k++) w[k + 2] = raw[Math.min(raw.length - 1, Math.max(0, b + k))];
    w.sort();
    out[b] = w[2];
  }
  return out;
}
