import { describe, expect, it } from 'vitest';
import { medianOf, solveCholesky, solveRobust, type Observation } from '../../src/model/solve.js';
import { makeRandom } from './clock-synthetic.js';

/** NIST Statistical Reference Datasets, Norris: [y, x]. */
const NORRIS: [number, number][] = [
  [0.1, 0.2], [338.8, 337.4], [118.1, 118.2], [888.0, 884.6], [9.2, 10.1], [228.1, 226.5], [668.5, 666.3], [998.5, 996.3], [449.1, 448.6], [778.9, 777.0], [559.2, 558.2], [0.3, 0.4],
  [0.1, 0.6], [778.1, 775.5], [668.8, 666.9], [339.3, 338.0], [448.9, 447.5], [10.8, 11.6], [557.7, 556.0], [228.3, 228.1], [998.0, 995.8], [888.8, 887.6], [119.6, 120.2], [0.3, 0.3],
  [0.6, 0.3], [557.6, 556.8], [339.3, 339.1], [888.0, 887.2], [998.5, 999.0], [778.9, 779.0], [10.2, 11.1], [117.6, 118.3], [228.9, 229.2], [668.4, 669.1], [449.2, 448.9], [0.2, 0.5],
];
const NORRIS_CERTIFIED = [-0.262323073774029, 1.00211681802045];

/** NIST StRD, Longley: y, then the six predictors in the certified units. */
const LONGLEY = [
  [60323, 83.0, 234289, 2356, 1590, 107608, 1947], [61122, 88.5, 259426, 2325, 1456, 108632, 1948], [60171, 88.2, 258054, 3682, 1616, 109773, 1949],
  [61187, 89.5, 284599, 3351, 1650, 110929, 1950], [63221, 96.2, 328975, 2099, 3099, 112075, 1951], [63639, 98.1, 346999, 1932, 3594, 113270, 1952],
  [64989, 99.0, 365385, 1870, 3547, 115094, 1953], [63761, 100.0, 363112, 3578, 3350, 116219, 1954], [66019, 101.2, 397469, 2904, 3048, 117388, 1955],
  [67857, 104.6, 419180, 2822, 2857, 118734, 1956], [68169, 108.4, 442769, 2936, 2798, 120445, 1957], [66513, 110.8, 444546, 4681, 2637, 121950, 1958],
  [68655, 112.6, 482704, 3813, 2552, 123366, 1959], [69564, 114.2, 502601, 3931, 2514, 125368, 1960], [69331, 115.7, 518173, 4806, 2572, 127852, 1961],
  [70551, 116.9, 554894, 4007, 2827, 130081, 1962],
];
const LONGLEY_CERTIFIED = [-3482258.63459582, 15.0618722713733, -0.0358191792925910, -2.02022980381683, -1.03322686717359, -0.0511041056535807, 1829.15146461355];

/** Ordinary least squares by normal equations of centred, scaled columns; the constant comes first. */
function fitLine(rows: readonly (readonly number[])[]): number[] {
  const n = rows.length;
  const width = rows[0].length - 1;
  const mean = rows[0].map((_, k) => rows.reduce((s, r) => s + r[k], 0) / n);
  const size = rows[0].map((_, k) => Math.sqrt(rows.reduce((s, r) => s + (r[k] - mean[k]) ** 2, 0)));
  const a = new Float64Array(width * width);
  const b = new Float64Array(width);
  for (const r of rows) {
    for (let p = 0; p < width; p++) {
      for (let q = 0; q < width; q++) a[p * width + q] += ((r[p + 1] - mean[p + 1]) / size[p + 1]) * ((r[q + 1] - mean[q + 1]) / size[q + 1]);
      b[p] += ((r[p + 1] - mean[p + 1]) / size[p + 1]) * (r[0] - mean[0]);
    }
  }
  const slopes = Array.from(solveCholesky(a, b), (v, k) => v / size[k + 1]);
  return [mean[0] - slopes.reduce((s, v, k) => s + v * mean[k + 1], 0), ...slopes];
}

/** Digits that agree: -log10 of the relative error. */
const digits = (got: number, certified: number): number => -Math.log10(Math.abs(got / certified - 1) + 1e-17);

describe('the Cholesky solver', () => {
  it('reaches the certified values of Norris (NIST StRD)', () => {
    fitLine(NORRIS).forEach((v, k) => expect(digits(v, NORRIS_CERTIFIED[k])).toBeGreaterThan(10));
  });

  it('reaches the certified values of Longley (NIST StRD), whose columns all but depend on each other', () => {
    fitLine(LONGLEY).forEach((v, k) => expect(digits(v, LONGLEY_CERTIFIED[k]), `B${k}`).toBeGreaterThan(8));
  });

  it('solves random systems', () => {
    const { gauss } = makeRandom(7);
    for (let n = 1; n <= 24; n++) {
      const m = Array.from({ length: n }, () => Float64Array.from({ length: n }, gauss));
      const x = Float64Array.from({ length: n }, gauss);
      const a = new Float64Array(n * n);
      for (let i = 0; i < n; i++) for (let j = 0; j < n; j++) for (let k = 0; k < n; k++) a[i * n + j] += m[i][k] * m[j][k] + (i === j && k === 0 ? 0.1 : 0);
      const b = Float64Array.from({ length: n }, (_, i) => x.reduce((s, v, j) => s + a[i * n + j] * v, 0));
      solveCholesky(a, b).forEach((v, k) => expect(Math.abs(v - x[k])).toBeLessThan(1e-8));
    }
  });
});

describe('robust least squares', () => {
  const weak: [number, number][] = [[0, 1e6], [0, 1e6]];
  const observe = (rows: readonly (readonly [number, number])[]): Observation[] => rows.map(([value, x]) => ({ unknowns: [0, 1], coefficients: [1, x], value, weight: 1 }));

  it('is ordinary least squares where no residual stands out: Norris again', () => {
    // A scale that is kept far above all residuals takes every weight to 1 within (residual / 4.685 / scale)^2.
    const { x } = solveRobust(observe(NORRIS), weak.map(([m]) => [m, 1e12]), 1e5);
    x.forEach((v, k) => expect(digits(v, NORRIS_CERTIFIED[k])).toBeGreaterThan(6));
  });

  it('keeps the line of Norris with every fifth reading gross', () => {
    const { uniform } = makeRandom(3);
    const spoilt = NORRIS.map(([y, x], k): [number, number] => (k % 5 === 2 ? [y + 30 + 300 * uniform(), x] : [y, x]));
    const { x, scale } = solveRobust(observe(spoilt), weak, 1e-6);
    // Certified standard deviations of the ordinary fit: 0.2328 and 0.00042980; residual 0.8848. Three of them for a fit on 29 readings.
    expect(Math.abs(x[0] - NORRIS_CERTIFIED[0])).toBeLessThan(3 * 0.2328);
    expect(Math.abs(x[1] - NORRIS_CERTIFIED[1])).toBeLessThan(3 * 0.0004298);
    expect(scale).toBeGreaterThan(0.4);
    expect(scale).toBeLessThan(2);
    const ordinary = fitLine(spoilt);
    expect(Math.abs(ordinary[0] - NORRIS_CERTIFIED[0])).toBeGreaterThan(5);
  });

  it('weighs a Gaussian prior as one more reading of that spread', () => {
    // After one round all readings weigh alike in units of 1: four readings of 10 on average and a prior of 0 with spread 1 give 40 / 5.
    const readings: Observation[] = [8, 9, 11, 12].map((value) => ({ unknowns: [0], coefficients: [1], value, weight: 1 }));
    expect(solveRobust(readings, [[0, 1]], 2, 1).x[0]).toBeCloseTo(8, 12);
    expect(solveRobust(readings, [[0, 0.5]], 2, 1).x[0]).toBeCloseTo(40 / 8, 12);
  });

  it('leaves unknowns that nothing is known about at their prior', () => {
    const { x } = solveRobust([{ unknowns: [0], coefficients: [1], value: 3, weight: 1 }], [[0, 100], [-7, 2]], 0.1);
    expect(x[0]).toBeCloseTo(3, 3);
    expect(x[1]).toBe(-7);
    expect([...solveRobust([], [[4, 1], [5, 1]], 1).x]).toEqual([4, 5]);
  });

  it('does not depend on the order of the readings', () => {
    const a = solveRobust(observe(NORRIS), weak, 1e-3).x;
    const b = solveRobust(observe([...NORRIS].reverse()), weak, 1e-3).x;
    b.forEach((v, k) => expect(Math.abs(v - a[k])).toBeLessThan(1e-8));
  });
});

it('the median is the middle value or the mean of the two', () => {
  expect(medianOf([])).toBe(0);
  expect(medianOf([3])).toBe(3);
  expect(medianOf([9, 1, 5])).toBe(5);
  expect(medianOf([9, 1, 5, 7])).toBe(6);
});
