import { normalQuantile } from './normal.js';
import { UNDEFINED_ESTIMATE } from './types.js';
import type { Estimate } from './types.js';

const Z_95 = normalQuantile(0.975);

/**
 * Share of successes with its 95 % score interval without continuity correction.
 * Source: Wilson (1927), as method 3 of Newcombe (1998) Statistics in Medicine 17, 857-872.
 * Undefined (all null) for total 0.
 * @example estimateShare(81, 263) // .3080, .2553 to .3662
 */
export function estimateShare(successes: number, total: number): Estimate {
  if (!(total > 0)) return UNDEFINED_ESTIMATE;
  const z = Z_95;
  const p = successes / total;
  const centre = (p + (z * z) / (2 * total)) / (1 + (z * z) / total);
  const half = (z / (1 + (z * z) / total)) * Math.sqrt((p * (1 - p)) / total + (z * z) / (4 * total * total));
  // At the ends the formula is exactly 0 or 1 but for rounding.
  const low = successes === 0 ? 0 : Math.max(0, centre - half);
  const high = successes === total ? 1 : Math.min(1, centre + half);
  return { value: p, low, high, method: 'wilson' };
}

/**
 * F1 with a Wilson interval: F1 = 2J/(1+J) rises with J = TP/(TP+FP+FN), a plain proportion (Hand, Christen & Kirielle 2021, "F*", from
 * memory), so the limits of J are carried over. Takes errors as independent; use it where a bootstrap has nothing to resample (no error).
 */
export function estimateF1(truePositives: number, falsePositives: number, falseNegatives: number): Estimate {
  const j = estimateShare(truePositives, truePositives + falsePositives + falseNegatives);
  if (j.value === null) return UNDEFINED_ESTIMATE;
  const carry = (share: number): number => (2 * share) / (1 + share);
  return { value: carry(j.value), low: carry(j.low!), high: carry(j.high!), method: 'wilson-f1' };
}

/**
 * Rate count/exposure with the exact 95 % Poisson interval of Garwood (1936): the means for which as many or more, and as many or fewer,
 * events have probability .025. Undefined for exposure 0.
 */
export function estimateRate(count: number, exposure: number): Estimate {
  if (!(exposure > 0)) return UNDEFINED_ESTIMATE;
  const tail = 0.025;
  const low = count === 0 ? 0 : bisectMean(count - 1, 1 - tail, count);
  const high = bisectMean(count, tail, count);
  return { value: count / exposure, low: low / exposure, high: high / exposure, method: 'poisson' };
}

/** The mean for which a Poisson count is at most `count` with probability `target` (falls with the mean). */
function bisectMean(count: number, target: number, near: number): number {
  let low = 0;
  let high = near + 10 * Math.sqrt(near + 1) + 10;
  for (let i = 0; i < 100; i++) {
    const mean = (low + high) / 2;
    if (poissonCdf(count, mean) > target) low = mean;
    else high = mean;
  }
  return (low + high) / 2;
}

/** P(X <= count), summed from the largest term so that nothing under- or overflows. */
function poissonCdf(count: number, mean: number): number {
  if (mean === 0) return 1;
  const start = Math.min(count, Math.floor(mean));
  let logTerm = -mean;
  for (let k = 1; k <= start; k++) logTerm += Math.log(mean / k);
  const peak = Math.exp(logTerm);
  let sum = peak;
  for (let k = start, term = peak; k > 0 && term > 1e-18 * sum; k--) sum += term *= k / mean;
  for (let k = start + 1, term = peak; k <= count && term > 1e-18 * sum; k++) sum += term *= mean / k;
  return Math.min(1, sum);
}
