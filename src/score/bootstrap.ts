import { normalCdf, normalQuantile } from './normal.js';
import { sortedQuantile } from './quantile.js';
import { RandomWords } from './random.js';
import { UNDEFINED_ESTIMATE } from './types.js';
import type { Estimate } from './types.js';

export interface BootstrapOptions {
  /** Default 1000. */
  resamples?: number;
  /** Default 20240229. The same seed gives the same interval on every machine. */
  seed?: number;
  /** Coverage of the interval. Default .95. */
  level?: number;
  /** Default 'bca'; falls back to 'percentile' where bias and acceleration cannot be had. */
  method?: 'bca' | 'percentile';
}

/**
 * Bootstrap interval of a statistic over blocks of data (calls that stand close in time share their errors, so blocks are resampled, not
 * calls). `statistic` gets how often each block was drawn and returns the value, NaN where it has none.
 * BCa after Efron & Tibshirani (1993), chapter 14, acceleration by the jackknife over blocks.
 * @param blockCount number of blocks, each of weight 1 in the data as they are.
 */
export function bootstrapEstimate(
  blockCount: number, statistic: (drawn: Float64Array) => number, options: BootstrapOptions = {},
): Estimate {
  const { resamples = 1000, seed = 20240229, level = 0.95, method = 'bca' } = options;
  const value = blockCount > 0 ? statistic(new Float64Array(blockCount).fill(1)) : NaN;
  if (!Number.isFinite(value)) return UNDEFINED_ESTIMATE;
  const replicates = drawReplicates(blockCount, statistic, resamples, seed);
  if (replicates.length < 2) return { ...UNDEFINED_ESTIMATE, value };
  const tail = (1 - level) / 2;
  const adjusted = method === 'bca' ? adjustTails(replicates, value, tail, blockCount, statistic) : undefined;
  const [lowTail, highTail] = adjusted ?? [tail, 1 - tail];
  return {
    value, low: sortedQuantile(replicates, lowTail), high: sortedQuantile(replicates, highTail), method: adjusted ? 'bca' : 'percentile',
  };
}

/** Sorted values of the statistic over resamples; resamples in which it has no value are left out. */
export function drawReplicates(
  blockCount: number, statistic: (drawn: Float64Array) => number, resamples: number, seed: number,
): Float64Array {
  const random = new RandomWords(seed);
  const drawn = new Float64Array(blockCount);
  const values: number[] = [];
  for (let b = 0; b < resamples; b++) {
    drawn.fill(0);
    for (let i = 0; i < blockCount; i++) drawn[random.nextBelow(blockCount)]++;
    const value = statistic(drawn);
    if (Number.isFinite(value)) values.push(value);
  }
  return Float64Array.from(values).sort();
}

/** Tail probabilities corrected for bias and acceleration, or undefined where the replicates do not tell. */
function adjustTails(
  replicates: Float64Array, value: number, tail: number, blockCount: number, statistic: (drawn: Float64Array) => number,
): [number, number] | undefined {
  let below = 0;
  // Half of the ties count as below: the statistic of few blocks takes few values.
  for (const r of replicates) below += r < value ? 1 : r === value ? 0.5 : 0;
  // Never all on one side, or a biased statistic (all replicates above the value) would have no interval.
  const n = replicates.length;
  const bias = normalQuantile(Math.min(Math.max(below, 0.5), n - 0.5) / n);
  const acceleration = jackknifeAcceleration(blockCount, statistic);
  if (!Number.isFinite(acceleration)) return undefined;
  const adjust = (p: number): number => {
    const z = bias + normalQuantile(p);
    return normalCdf(bias + z / (1 - acceleration * z));
  };
  const tails: [number, number] = [adjust(tail), adjust(1 - tail)];
  return tails[0] < tails[1] ? tails : undefined;
}

function jackknifeAcceleration(blockCount: number, statistic: (drawn: Float64Array) => number): number {
  const drawn = new Float64Array(blockCount).fill(1);
  const values: number[] = [];
  for (let i = 0; i < blockCount; i++) {
    drawn[i] = 0;
    const value = statistic(drawn);
    if (Number.isFinite(value)) values.push(value);
    drawn[i] = 1;
  }
  const mean = values.reduce((a, b) => a + b, 0) / values.length;
  let squares = 0;
  let cubes = 0;
  for (const v of values) {
    squares += (mean - v) ** 2;
    cubes += (mean - v) ** 3;
  }
  return squares > 0 ? cubes / (6 * squares ** 1.5) : NaN;
}
