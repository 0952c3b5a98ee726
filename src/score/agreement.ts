import { estimateShare } from './intervals.js';
import { matchCalls } from './match-calls.js';
import type { MatchOptions } from './match-calls.js';
import { normalQuantile } from './normal.js';
import type { Estimate, TimedCall } from './types.js';

export interface Kappa {
  /** (observed - chance) / (1 - chance); NaN where chance agreement is 1 or the table is empty. */
  kappa: number;
  /** Share of items both put into the same category. */
  observed: number;
  /** Share expected if both chose at random with their own frequencies. */
  chance: number;
  /** 95 % limits from the large-sample standard error. */
  low: number;
  high: number;
}

/**
 * Agreement of two annotators beyond chance (Cohen 1960), standard error after Fleiss, Cohen & Everitt (1969; from memory).
 * @param counts square: row = category of the first, column = category of the second.
 */
export function measureKappa(counts: readonly (readonly number[])[]): Kappa {
  const n = counts.reduce((sum, row) => sum + row.reduce((a, b) => a + b, 0), 0);
  const rowShare = counts.map((row) => row.reduce((a, b) => a + b, 0) / n);
  const columnShare = counts.map((_, j) => counts.reduce((sum, row) => sum + row[j], 0) / n);
  const observed = counts.reduce((sum, row, i) => sum + row[i], 0) / n;
  const chance = rowShare.reduce((sum, share, i) => sum + share * columnShare[i], 0);
  const kappa = (observed - chance) / (1 - chance);
  let spread = 0;
  counts.forEach((row, i) => row.forEach((count, j) => {
    const margin = rowShare[j] + columnShare[i];
    const term = i === j ? 1 - (rowShare[i] + columnShare[i]) * (1 - kappa) : (1 - kappa) * margin;
    spread += (count / n) * term * term;
  }));
  const variance = (spread - (kappa - chance * (1 - kappa)) ** 2) / (n * (1 - chance) ** 2);
  const half = normalQuantile(0.975) * Math.sqrt(Math.max(0, variance));
  return { kappa, observed, chance, low: kappa - half, high: kappa + half };
}

/**
 * Agreement of several annotators (Fleiss 1971).
 * @param counts one row per item: how many annotators chose each category; every row has the same sum, two or more.
 */
export function measureFleissKappa(counts: readonly (readonly number[])[]): number {
  const raters = counts[0].reduce((a, b) => a + b, 0);
  const agreement = counts.reduce((sum, row) => sum + (row.reduce((s, n) => s + n * n, 0) - raters) / (raters * (raters - 1)), 0) / counts.length;
  const shares = counts[0].map((_, j) => counts.reduce((sum, row) => sum + row[j], 0) / (counts.length * raters));
  const chance = shares.reduce((sum, share) => sum + share * share, 0);
  return (agreement - chance) / (1 - chance);
}

export interface Agreement {
  /** Calls that both annotators marked. */
  both: number;
  onlyFirst: number;
  onlySecond: number;
  /** 2 both / (all of the first + all of the second): F1, the same whoever is taken as the truth. */
  f1: number;
  /** Share of the calls marked by both that were given to the same bird. */
  sameBird: Estimate;
  /** Agreement on the bird beyond chance, over calls marked by both. */
  kappa: Kappa;
  birds: string[];
  /** Row = bird after the first annotator, column = bird after the second. */
  counts: number[][];
}

/** How far two annotators agree: on which calls there are, and on who made those that both marked. */
export function scoreAgreement(first: readonly TimedCall[], second: readonly TimedCall[], options: MatchOptions = {}): Agreement {
  const { pairs } = matchCalls(first, second, { toleranceSec: options.toleranceSec });
  const birds = [...new Set([...first, ...second].map((call) => call.bird))].sort();
  const counts = birds.map(() => new Array<number>(birds.length).fill(0));
  for (const pair of pairs) counts[birds.indexOf(first[pair.call].bird)][birds.indexOf(second[pair.label].bird)]++;
  const same = counts.reduce((sum, row, i) => sum + row[i], 0);
  return {
    both: pairs.length, onlyFirst: first.length - pairs.length, onlySecond: second.length - pairs.length,
    f1: (2 * pairs.length) / (first.length + second.length), sameBird: estimateShare(same, pairs.length), kappa: measureKappa(counts), birds, counts,
  };
}
