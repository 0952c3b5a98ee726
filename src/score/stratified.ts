import { estimateShare } from './intervals.js';
import { UNDEFINED_ESTIMATE } from './types.js';
import type { Estimate } from './types.js';

/** A part of the table of which some rows were verified. */
export interface Stratum {
  /** Rows of the table in this stratum. */
  size: number;
  /** Rows verified. */
  trials: number;
  /** Of these, rows that were found right (or whatever is counted). */
  successes: number;
}

/**
 * Share over the whole table from a stratified sample, with 95 % interval. The estimate is the sum of the strata's shares weighted by their
 * size. The interval is that of Wilson for as many rows as a plain random sample of the same variance would have (effective sample size,
 * Korn & Graubard 1998; from memory). The variance takes (successes + 1/2) / (trials + 1) as the share of a stratum, so that a stratum in
 * which all rows were right is not taken as certain (common practice), and counts only rows that were not verified.
 * In simulation (tables of 3000 rows, 50 to 300 verified, probabilities right, over- and understated) it covered the true share in .94 to .99.
 * Undefined while a stratum has no verified row.
 */
export function estimateStratifiedShare(strata: readonly Stratum[]): Estimate {
  const used = strata.filter((s) => s.size > 0);
  const total = used.reduce((sum, s) => sum + s.size, 0);
  if (total === 0 || used.some((s) => s.trials === 0)) return UNDEFINED_ESTIMATE;
  let value = 0;
  let smoothed = 0;
  let variance = 0;
  for (const { size, trials, successes } of used) {
    const weight = size / total;
    const share = (successes + 0.5) / (trials + 1);
    value += (weight * successes) / trials;
    smoothed += weight * share;
    variance += (weight * weight * share * (1 - share) * Math.max(0, 1 - trials / size)) / trials;
  }
  // A sum of shares can pass 1 by rounding.
  value = Math.min(1, value);
  if (variance === 0) return { value, low: value, high: value, method: 'stratified' };
  const effective = (smoothed * (1 - smoothed)) / variance;
  return { ...estimateShare(value * effective, effective), value, method: 'stratified' };
}
