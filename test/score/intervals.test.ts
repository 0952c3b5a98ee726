import { describe, expect, it } from 'vitest';
import { bootstrapEstimate, drawReplicates } from '../../src/score/bootstrap.js';
import { estimateF1, estimateRate, estimateShare } from '../../src/score/intervals.js';
import { normalCdf, normalQuantile } from '../../src/score/normal.js';
import { sortedQuantile, sortedQuantileOfCopies } from '../../src/score/quantile.js';
import { RandomWords } from '../../src/score/random.js';

describe('estimateShare', () => {
  // Newcombe (1998) Statistics in Medicine 17, 857-872, Table I, method 3.
  it.each([[81, 263, 0.2553, 0.3662], [15, 148, 0.0624, 0.1605], [0, 20, 0, 0.1611], [1, 29, 0.0061, 0.1718]])(
    'gives the published interval of %i in %i', (k, n, low, high) => {
      const estimate = estimateShare(k, n);
      expect(estimate.value).toBe(k / n);
      expect(Math.abs(estimate.low! - low)).toBeLessThan(5.001e-5);
      expect(Math.abs(estimate.high! - high)).toBeLessThan(5.001e-5);
    });

  it('is undefined for no trial and mirrored at the other end', () => {
    expect(estimateShare(0, 0).value).toBeNull();
    expect(estimateShare(20, 20).low).toBeCloseTo(1 - estimateShare(0, 20).high!, 12);
    expect(estimateShare(20, 20).high).toBe(1);
  });

  it('carries over to F1', () => {
    const f1 = estimateF1(90, 6, 4);
    const share = estimateShare(90, 100);
    expect(f1.value).toBeCloseTo(180 / 190, 12);
    expect(f1.low).toBeCloseTo((2 * share.low!) / (1 + share.low!), 12);
    expect(estimateF1(50, 0, 0).low).toBeLessThan(1);
  });
});

describe('estimateRate', () => {
  // Exact Poisson limits of Garwood (1936), recomputed as half chi-square quantiles with R (qchisq).
  it.each([
    [0, 0, 3.6889], [1, 0.0253, 5.5716], [2, 0.2422, 7.2247], [3, 0.6187, 8.7673], [4, 1.0899, 10.2416], [5, 1.6235, 11.6683],
    [6, 2.2019, 13.0595], [7, 2.8144, 14.4227], [8, 3.4538, 15.7632], [9, 4.1154, 17.0848], [10, 4.7954, 18.3904],
  ])('gives the exact limits of count %i', (count, low, high) => {
    const rate = estimateRate(count, 1);
    expect(Math.abs(rate.low! - low)).toBeLessThan(1e-4);
    expect(Math.abs(rate.high! - high)).toBeLessThan(1e-4);
  });

  it('divides by the exposure', () => {
    // 37 calls in 1.5 h, the same source.
    const rate = estimateRate(37, 1.5);
    expect(rate.value).toBeCloseTo(24.6667, 4);
    expect(Math.abs(rate.low! - 17.3676)).toBeLessThan(1e-4);
    expect(Math.abs(rate.high! - 33.9998)).toBeLessThan(1e-4);
  });
});

describe('normal distribution', () => {
  // Standard tables (z of .975 is 1.959964); tail values from scipy.stats.norm.
  it('has the tabulated values', () => {
    expect(normalQuantile(0.975)).toBeCloseTo(1.959963984540054, 12);
    expect(normalQuantile(0.025)).toBeCloseTo(-1.959963984540054, 12);
    expect(normalCdf(1)).toBeCloseTo(0.8413447460685429, 14);
    expect(normalCdf(-3.5)).toBeCloseTo(0.00023262907903552504, 16);
    expect(normalCdf(-8) / 6.220960574271785e-16).toBeCloseTo(1, 10);
    expect(normalCdf(0)).toBe(0.5);
    expect(normalCdf(3) - normalCdf(2.9999999)).toBeLessThan(1e-9);
  });
});

describe('quantiles', () => {
  it('interpolate between order statistics', () => {
    // R quantile(c(1,2,3,4,10), c(.25,.5,.95)) of type 7.
    expect([0.25, 0.5, 0.95].map((p) => sortedQuantile([1, 2, 3, 4, 10], p))).toEqual([2, 3, expect.closeTo(8.8, 12)]);
    expect(sortedQuantile([], 0.5)).toBeNaN();
  });

  it('with copies equal quantiles of the copied values', () => {
    const random = new RandomWords(4);
    for (let round = 0; round < 200; round++) {
      const values = Array.from({ length: 6 }, () => random.nextBelow(50)).sort((a, b) => a - b);
      const copies = values.map(() => random.nextBelow(4));
      const written = values.flatMap((v, i) => new Array<number>(copies[i]).fill(v));
      for (const p of [0, 0.1, 0.5, 0.95, 1]) {
        const expected = sortedQuantile(written, p);
        if (written.length) expect(sortedQuantileOfCopies(values, copies, p)).toBeCloseTo(expected, 12);
        else expect(sortedQuantileOfCopies(values, copies, p)).toBeNaN();
      }
    }
  });
});

describe('bootstrap', () => {
  const values = [49, -67, 8, 16, 6, 23, 28, 41, 14, 29, 56, 24, 75, 60, -48];
  const mean = (drawn: Float64Array): number => {
    let sum = 0;
    let n = 0;
    drawn.forEach((times, i) => { sum += times * values[i]; n += times; });
    return sum / n;
  };

  it('has the standard error of a mean in closed form', () => {
    // sqrt(sum (x - mean)^2) / n; the spread of B resamples is within 3 / sqrt(2B) of it, three of its own standard errors.
    const resamples = 8000;
    const replicates = drawReplicates(values.length, mean, resamples, 7);
    const centre = values.reduce((a, b) => a + b, 0) / values.length;
    const exact = Math.sqrt(values.reduce((s, v) => s + (v - centre) ** 2, 0)) / values.length;
    const average = replicates.reduce((a, b) => a + b, 0) / resamples;
    const spread = Math.sqrt(replicates.reduce((s, r) => s + (r - average) ** 2, 0) / (resamples - 1));
    expect(Math.abs(spread / exact - 1)).toBeLessThan(3 / Math.sqrt(2 * resamples));
    expect(Math.abs(average - centre)).toBeLessThan((4 * exact) / Math.sqrt(resamples));
  });

  it('has the exact distribution of a median', () => {
    // The median of 15 draws is at most the k-th smallest value when at least 8 draws are: a binomial sum.
    const sorted = [...values].sort((a, b) => a - b);
    const median = (drawn: Float64Array): number => sortedQuantileOfCopies(sorted, drawn, 0.5);
    const resamples = 8000;
    const replicates = drawReplicates(15, median, resamples, 3);
    const binomial = (n: number, k: number): number => Array.from({ length: k }, (_, i) => (n - i) / (i + 1)).reduce((a, b) => a * b, 1);
    for (const k of [4, 6, 8, 10]) {
      const p = k / 15;
      let exact = 0;
      for (let draws = 8; draws <= 15; draws++) exact += binomial(15, draws) * p ** draws * (1 - p) ** (15 - draws);
      const measured = replicates.filter((r) => r <= sorted[k - 1]).length / resamples;
      // Four standard errors of a share.
      expect(Math.abs(measured - exact)).toBeLessThan(4 * Math.sqrt((exact * (1 - exact)) / resamples));
    }
  });

  it('repeats itself with the same seed and differs with another', () => {
    const one = bootstrapEstimate(15, mean, { seed: 1 });
    expect(bootstrapEstimate(15, mean, { seed: 1 })).toEqual(one);
    expect(bootstrapEstimate(15, mean, { seed: 2 }).low).not.toBe(one.low);
    expect(one.method).toBe('bca');
    expect(one.value).toBeCloseTo(314 / 15, 12);
  });

  it('covers the true mean of a skewed variable about as often as it says', () => {
    // Exponential samples of 40: BCa is known to fall a little short of .95; .90 to .98 leaves four standard errors of 400 rounds below .94.
    const random = new RandomWords(99);
    let covered = 0;
    for (let round = 0; round < 400; round++) {
      const sample = Float64Array.from({ length: 40 }, () => -Math.log(1 - random.nextUnit()));
      const statistic = (drawn: Float64Array): number => {
        let sum = 0;
        for (let i = 0; i < 40; i++) sum += drawn[i] * sample[i];
        return sum / 40;
      };
      const jackknifeSafe = (drawn: Float64Array): number => statistic(drawn) * (40 / drawn.reduce((a, b) => a + b, 0));
      const { low, high } = bootstrapEstimate(40, jackknifeSafe, { resamples: 400, seed: round });
      if (low! <= 1 && 1 <= high!) covered++;
    }
    expect(covered / 400).toBeGreaterThan(0.9);
    expect(covered / 400).toBeLessThan(0.98);
  });

  it('is undefined without data', () => {
    expect(bootstrapEstimate(0, mean).value).toBeNull();
    expect(bootstrapEstimate(3, () => NaN).value).toBeNull();
  });
});

describe('RandomWords', () => {
  it('is even over small ranges', () => {
    const random = new RandomWords(1);
    const counts = new Array<number>(7).fill(0);
    for (let i = 0; i < 70000; i++) counts[random.nextBelow(7)]++;
    // Chi-square with 6 degrees of freedom: 22.46 at .001.
    expect(counts.reduce((s, c) => s + (c - 10000) ** 2 / 10000, 0)).toBeLessThan(22.46);
  });

  it('never leaves its range', () => {
    const random = new RandomWords(2);
    for (let i = 0; i < 1000; i++) {
      const unit = random.nextUnit();
      expect(unit >= 0 && unit < 1).toBe(true);
      expect(random.nextBelow(1)).toBe(0);
    }
  });
});
