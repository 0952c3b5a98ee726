import library from 'jstat';

const { jStat } = library;

/**
 * Quantile of the chi-square distribution with `dof` degrees of freedom (any positive number); relative error below 1e-9.
 * p in [0, 1): 0 gives 0.
 */
export function chiSquareQuantile(p: number, dof: number): number {
  return p === 0 ? 0 : jStat.chisquare.inv(p, dof);
}

/** Distribution function of Student's t; absolute error below 1e-8. */
export function studentCdf(t: number, dof: number): number {
  if (Number.isNaN(t)) return NaN;
  // The library is inexact at the middle and undefined at the ends.
  if (t === 0) return 0.5;
  return Number.isFinite(t) ? jStat.studentt.cdf(t, dof) : t > 0 ? 1 : 0;
}

/** Quantile of Student's t, p in (0, 1); relative error below 1e-8. */
export function studentQuantile(p: number, dof: number): number {
  return p === 0.5 ? 0 : jStat.studentt.inv(p, dof);
}
