import { describe, expect, it } from 'vitest';
import { BandedSystem } from '../../src/model/clock-banded.js';
import { solveCholesky, solveRobust } from '../../src/model/solve.js';
import { makeRandom } from './clock-synthetic.js';

// NIST Statistical Reference Datasets, linear regression: Norris (y, x), certified values below.
const NORRIS = [[0.1, 0.2], [338.8, 337.4], [118.1, 118.2], [888.0, 884.6], [9.2, 10.1], [228.1, 226.5], [668.5, 666.3], [998.5, 996.3], [449.1, 448.6], [778.9, 777.0], [559.2, 558.2], [0.3, 0.4], [0.1, 0.6], [778.1, 775.5],
  [668.8, 666.9], [339.3, 338.0], [448.9, 447.5], [10.8, 11.6], [557.7, 556.0], [228.3, 228.1], [998.0, 995.8], [888.8, 887.6], [119.6, 120.2], [0.3, 0.3], [0.6, 0.3], [557.6, 556.8], [339.3, 339.1], [888.0, 887.2], [998.5, 999.0],
  [778.9, 779.0], [10.2, 11.1], [117.6, 118.3], [228.9, 229.2], [668.4, 669.1], [449.2, 448.9], [0.2, 0.5]];
const NORRIS_LINE = { intercept: -0.262323073774029, slope: 1.00211681802045, slopeSd: 0.000429796848199937, interceptSd: 0.232818234301152 };

// Longley of the same collection: y, then six predictors; data as in R's table of that name.
const LONGLEY = [[60323, 83, 234289, 2356, 1590, 107608, 1947], [61122, 88.5, 259426, 2325, 1456, 108632, 1948], [60171, 88.2, 258054, 3682, 1616, 109773, 1949], [61187, 89.5, 284599, 3351, 1650, 110929, 1950],
  [63221, 96.2, 328975, 2099, 3099, 112075, 1951], [63639, 98.1, 346999, 1932, 3594, 113270, 1952], [64989, 99, 365385, 1870, 3547, 115094, 1953], [63761, 100, 363112, 3578, 3350, 116219, 1954], [66019, 101.2, 397469, 2904, 3048, 117388, 1955],
  [67857, 104.6, 419180, 2822, 2857, 118734, 1956], [68169, 108.4, 442769, 2936, 2798, 120445, 1957], [66513, 110.8, 444546, 4681, 2637, 121950, 1958], [68655, 112.6, 482704, 3813, 2552, 123366, 1959], [69564, 114.2, 502601, 3931, 2514, 125368, 1960],
  [69331, 115.7, 518173, 4806, 2572, 127852, 1961], [70551, 116.9, 554894, 4007, 2827, 130081, 1962]];
const LONGLEY_SLOPES = [15.0618722713733, -0.035819179292591, -2.02022980381683, -1.03322686717359, -0.0511041056535807, 1829.15146461355];

const NO_PRIOR = 1e9;
const line = (rows: readonly number[][], rounds?: number): Float64Array => solveRobust(rows.map(([y, x]) => ({ unknowns: [0, 1], coefficients: [1, x], value: y, weight: 1 })), [[0, NO_PRIOR], [0, NO_PRIOR]], 1e-6, rounds).x;

describe('robust least squares', () => {
  it('without reweighting gives the certified line of Norris', () => {
    const x = line(NORRIS, 1);
    // Normal equations keep half the digits: the certified slope to ten, the intercept to nine.
    expect(Math.abs(x[1] / NORRIS_LINE.slope - 1)).toBeLessThan(1e-10);
    expect(Math.abs(x[0] / NORRIS_LINE.intercept - 1)).toBeLessThan(1e-8);
  });

  it('without reweighting gives seven digits of Longley from standardised columns', () => {
    const columns = LONGLEY[0].map((_, c) => {
      const v = LONGLEY.map((r) => r[c]);
      const mean = v.reduce((s, e) => s + e, 0) / v.length;
      return { mean, sd: Math.sqrt(v.reduce((s, e) => s + (e - mean) ** 2, 0) / v.length) };
    });
    const observations = LONGLEY.map((r) => ({ unknowns: [0, 1, 2, 3, 4, 5], coefficients: r.slice(1).map((v, c) => (v - columns[c + 1].mean) / columns[c + 1].sd), value: r[0] - columns[0].mean, weight: 1 }));
    const { x } = solveRobust(observations, LONGLEY_SLOPES.map((): [number, number] => [0, 1e12]), 1e-6, 1);
    LONGLEY_SLOPES.forEach((certified, c) => expect(Math.abs(x[c] / columns[c + 1].sd / certified - 1)).toBeLessThan(1e-7));
  });

  it('stays within three certified standard deviations of Norris when a fifth of the values are ruined; least squares does not', () => {
    const ruined = NORRIS.map(([y, x], k) => [k % 5 === 0 ? y + 150 : y, x]);
    const robust = line(ruined);
    expect(Math.abs(robust[1] - NORRIS_LINE.slope)).toBeLessThan(3 * NORRIS_LINE.slopeSd);
    expect(Math.abs(robust[0] - NORRIS_LINE.intercept)).toBeLessThan(3 * NORRIS_LINE.interceptSd);
    expect(Math.abs(line(ruined, 1)[0] - NORRIS_LINE.intercept)).toBeGreaterThan(30 * NORRIS_LINE.interceptSd);
  });
});

describe('banded system with a border', () => {
  it('solves and inverts like the dense system, with its determinant', () => {
    const { gauss } = makeRandom(5);
    const [chain, width, extra] = [23, 4, 3];
    const n = chain + extra;
    const system = new BandedSystem(chain, width, extra);
    const dense = new Float64Array(n * n);
    const put = (p: number, q: number, v: number): void => {
      system.add(p, q, v);
      dense[p * n + q] += v;
      if (p !== q) dense[q * n + p] += v;
    };
    // Sums of squares of rows that touch neighbours and the border: positive definite.
    for (let row = 0; row < 120; row++) {
      const at = row % (chain - width);
      const ids = [at, at + 1, at + width, chain + (row % extra)];
      const c = ids.map(gauss);
      for (let p = 0; p < 4; p++) for (let q = 0; q <= p; q++) put(ids[p], ids[q], c[p] * c[q]);
    }
    for (let k = 0; k < n; k++) put(k, k, 0.1);
    const right = Float64Array.from({ length: n }, gauss);
    system.right.set(right);
    const s = system.solve();
    const x = solveCholesky(dense.slice(), right.slice());
    x.forEach((v, k) => expect(s.unknowns[k]).toBeCloseTo(v, 9));
    const variances = s.variances();
    for (let k = 0; k < n; k++) {
      const unit = new Float64Array(n);
      unit[k] = 1;
      expect(variances[k]).toBeCloseTo(solveCholesky(dense.slice(), unit)[k], 9);
    }
    expect(s.logDet).toBeCloseTo(logDeterminant(dense, n), 8);
  });
});

/** By Gaussian elimination. */
function logDeterminant(a: Float64Array, n: number): number {
  const m = a.slice();
  let sum = 0;
  for (let k = 0; k < n; k++) {
    sum += Math.log(m[k * n + k]);
    for (let i = k + 1; i < n; i++) {
      const f = m[i * n + k] / m[k * n + k];
      for (let j = k; j < n; j++) m[i * n + j] -= f * m[k * n + j];
    }
  }
  return sum;
}
