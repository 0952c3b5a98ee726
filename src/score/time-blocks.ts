import { bootstrapEstimate } from './bootstrap.js';
import type { BootstrapOptions } from './bootstrap.js';
import { estimateF1 } from './intervals.js';
import { sortedQuantileOfCopies } from './quantile.js';
import type { Estimate } from './types.js';

/** The scored stretch cut into blocks of equal length, the units of the bootstrap. */
export interface TimeBlocks {
  count: number;
  blockSec: number;
  /** Block of a time; times outside fall into the first or last block. */
  blockOf(timeSec: number): number;
}

const MOST_BLOCKS = 5000;

/**
 * About a hundred blocks, but none shorter than 2 s (a call and its replies stay together) nor longer than 300 s (a common practice, no
 * source), and never more than `MOST_BLOCKS`: what resampling costs rises with their square.
 */
export function cutIntoBlocks(startSec: number, endSec: number): TimeBlocks {
  const lengthSec = Math.max(0, endSec - startSec);
  const blockSec = Math.max(lengthSec / MOST_BLOCKS, Math.min(300, Math.max(2, lengthSec / 100)));
  const count = Math.max(1, Math.ceil(lengthSec / blockSec - 1e-9));
  return { count, blockSec, blockOf: (timeSec) => Math.min(count - 1, Math.max(0, Math.floor((timeSec - startSec) / blockSec))) };
}

/** Counts of right, wrong and missed per block. */
export class BlockCounts {
  readonly truePositives: Float64Array;
  readonly falsePositives: Float64Array;
  readonly falseNegatives: Float64Array;

  constructor(readonly blocks: TimeBlocks) {
    this.truePositives = new Float64Array(blocks.count);
    this.falsePositives = new Float64Array(blocks.count);
    this.falseNegatives = new Float64Array(blocks.count);
  }

  /** 2TP / (2TP + FP + FN) with blocks counted as often as drawn; NaN where there is nothing. */
  f1(drawn: Float64Array): number {
    let right = 0;
    let wrong = 0;
    for (let i = 0; i < drawn.length; i++) {
      right += drawn[i] * this.truePositives[i];
      wrong += drawn[i] * (this.falsePositives[i] + this.falseNegatives[i]);
    }
    return (2 * right) / (2 * right + wrong);
  }
}

/** F1 with a bootstrap interval over blocks; a Wilson interval where the bootstrap has nothing to vary (no error at all, or one block). */
export function estimateBlockF1(counts: BlockCounts, options: BootstrapOptions): Estimate {
  const estimate = bootstrapEstimate(counts.blocks.count, (drawn) => counts.f1(drawn), options);
  if (estimate.value === null || (estimate.low !== null && estimate.low < estimate.high!)) return estimate;
  return estimateF1(sum(counts.truePositives), sum(counts.falsePositives), sum(counts.falseNegatives));
}

/** Values that belong to blocks, sorted once, for quantiles and means over resamples. */
export class BlockValues {
  private readonly values: Float64Array;
  private readonly blockOfValue: Int32Array;

  constructor(private readonly blocks: TimeBlocks, items: readonly { timeSec: number; value: number }[]) {
    const sorted = [...items].sort((a, b) => a.value - b.value || a.timeSec - b.timeSec);
    this.values = Float64Array.from(sorted, (item) => item.value);
    this.blockOfValue = Int32Array.from(sorted, (item) => blocks.blockOf(item.timeSec));
  }

  /** Quantile with bootstrap interval. */
  estimateQuantile(p: number, options: BootstrapOptions): Estimate {
    const copies = new Float64Array(this.values.length);
    return bootstrapEstimate(this.blocks.count, (drawn) => {
      for (let i = 0; i < copies.length; i++) copies[i] = drawn[this.blockOfValue[i]];
      return sortedQuantileOfCopies(this.values, copies, p);
    }, this.limitWork(options));
  }

  /** Mean with bootstrap interval. */
  estimateMean(options: BootstrapOptions): Estimate {
    const sums = new Float64Array(this.blocks.count);
    const counts = new Float64Array(this.blocks.count);
    this.values.forEach((value, i) => {
      sums[this.blockOfValue[i]] += value;
      counts[this.blockOfValue[i]]++;
    });
    return bootstrapEstimate(this.blocks.count, (drawn) => dot(drawn, sums) / dot(drawn, counts), options);
  }

  /** Fewer resamples for tables of hundred thousands of calls, where a quantile costs a pass over all of them; never under 200. */
  private limitWork(options: BootstrapOptions): BootstrapOptions {
    const affordable = Math.floor(1e8 / Math.max(1, this.values.length));
    return { ...options, resamples: Math.min(options.resamples ?? 1000, Math.max(200, affordable)) };
  }
}

export function dot(a: Float64Array, b: Float64Array): number {
  let total = 0;
  for (let i = 0; i < a.length; i++) total += a[i] * b[i];
  return total;
}

export function sum(values: Float64Array): number {
  let total = 0;
  for (const value of values) total += value;
  return total;
}
