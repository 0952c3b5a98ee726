import { studentCdf, studentQuantile } from './distributions.js';

/** An estimate with its standard error and the degrees of freedom of that error. */
export interface MeanEstimate { mean: number; standardError: number; dof: number }

export interface EquivalenceTest {
  /** Larger of the two one-sided p values. */
  pValue: number;
  /** 1 - 2 alpha interval: inside the margin just when pValue < alpha. */
  low: number;
  high: number;
}

/**
 * Two one-sided t tests of equivalence (Schuirmann 1987, J. Pharmacokinet. Biopharm. 15, 657-680): is the mean within -margin..margin?
 * A standard error of 0 decides by the mean alone.
 * @example testEquivalence({ mean: 1.58, standardError: 0.389, dof: 9 }, 3).pValue // about .0027
 */
export function testEquivalence(estimate: MeanEstimate, margin: number, alpha = 0.05): EquivalenceTest {
  const { mean, standardError, dof } = estimate;
  if (!(dof > 0) || !Number.isFinite(mean) || !Number.isFinite(standardError)) return { pValue: NaN, low: NaN, high: NaN };
  const half = studentQuantile(1 - alpha, dof) * standardError;
  const above = standardError > 0 ? studentCdf((-margin - mean) / standardError, dof) : mean > -margin ? 0 : 1;
  const below = standardError > 0 ? studentCdf((mean - margin) / standardError, dof) : mean < margin ? 0 : 1;
  return { pValue: Math.max(above, below), low: mean - half, high: mean + half };
}

/** Mean and standard error of values. */
export function estimateMean(values: readonly number[]): MeanEstimate {
  const n = values.length;
  const mean = values.reduce((s, v) => s + v, 0) / n;
  const variance = values.reduce((s, v) => s + (v - mean) ** 2, 0) / (n - 1);
  return { mean, standardError: Math.sqrt(variance / n), dof: n - 1 };
}

/**
 * Difference that a two-sided t test would have found with the given power: (t(1 - alpha/2) + t(power)) standard errors, the usual
 * approximation of the non-central t by a shifted one (for example Zar 2010, Biostatistical Analysis, section 7.7).
 */
export function computeDetectable(standardError: number, dof: number, alpha = 0.05, power = 0.8): number {
  return dof > 0 ? (studentQuantile(1 - alpha / 2, dof) + studentQuantile(power, dof)) * standardError : NaN;
}

/** Chance that equivalence is shown where the true difference is 0, by the same approximation. */
export function computeEquivalencePower(standardError: number, dof: number, margin: number, alpha = 0.05): number {
  if (!(dof > 0)) return NaN;
  if (!(standardError > 0)) return 1;
  return Math.max(0, 2 * studentCdf(margin / standardError - studentQuantile(1 - alpha, dof), dof) - 1);
}
