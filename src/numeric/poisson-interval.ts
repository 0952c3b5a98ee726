import { chiSquareQuantile, studentQuantile } from './distributions.js';

export interface Interval { low: number; high: number }

/**
 * Exact interval for the mean of a Poisson count (Garwood 1936, Biometrika 28, 437-442):
 * half the chi-square quantiles with 2n and 2n + 2 degrees of freedom.
 * @example estimatePoisson(10) // { low: 4.7954, high: 18.3904 }
 */
export function estimatePoisson(count: number, level = 0.95): Interval {
  const tail = (1 - level) / 2;
  return { low: count === 0 ? 0 : chiSquareQuantile(tail, 2 * count) / 2, high: chiSquareQuantile(1 - tail, 2 * count + 2) / 2 };
}

/**
 * Interval for the mean of a sum of weights of Poisson events (Fay & Feuer 1997, Statistics in Medicine 16, 791-801): a gamma interval
 * with the variance `sumSquares` of the sum; `largest` is the largest weight that could have been drawn. With all weights 1 it is Garwood's.
 */
export function estimateWeightedPoisson(sum: number, sumSquares: number, largest = 1, level = 0.95): Interval {
  const tail = (1 - level) / 2;
  const low = sum === 0 ? 0 : (sumSquares / (2 * sum)) * chiSquareQuantile(tail, (2 * sum * sum) / sumSquares);
  const above = sum + largest;
  const aboveSquares = sumSquares + largest * largest;
  return { low, high: (aboveSquares / (2 * above)) * chiSquareQuantile(1 - tail, (2 * above * above) / aboveSquares) };
}

export interface Cell { count: number; exposure: number }

/**
 * Pearson's estimate of over-dispersion of counts in cells of known exposure, each stratum with a rate of its own: the sum of
 * (n - e)^2 / e over cells, by cells minus strata (McCullagh & Nelder 1989, section 4.5.2). One stratum of equal cells: variance over mean.
 * NaN where nothing is left to estimate it from.
 */
export function estimateDispersion(strata: readonly (readonly Cell[])[]): { dispersion: number; dof: number } {
  let square = 0;
  let dof = 0;
  for (const cells of strata) {
    const used = cells.filter((c) => c.exposure > 0);
    const total = used.reduce((s, c) => s + c.count, 0);
    const rate = total / used.reduce((s, c) => s + c.exposure, 0);
    if (!(rate > 0) || used.length < 2) continue;
    for (const c of used) square += (c.count - rate * c.exposure) ** 2 / (rate * c.exposure);
    dof += used.length - 1;
  }
  return { dispersion: dof > 0 ? square / dof : NaN, dof };
}

/**
 * Quasi-Poisson interval for a mean, from its count and the dispersion with its degrees of freedom: symmetric in the logarithm with
 * standard error sqrt(dispersion / count) and Student's t, as a generalised linear model with log link has it (McCullagh & Nelder 1989).
 * A dispersion below 1 counts as 1: calm by chance is not taken for precision. Undefined (NaN) for count 0.
 */
export function estimateQuasiPoisson(count: number, dispersion: number, dof: number, level = 0.95): Interval {
  if (!(count > 0) || !(dof > 0) || !Number.isFinite(dispersion)) return { low: NaN, high: NaN };
  const half = studentQuantile(1 - (1 - level) / 2, dof) * Math.sqrt(Math.max(1, dispersion) / count);
  return { low: count * Math.exp(-half), high: count * Math.exp(half) };
}
