import { DirectedGraph, UndirectedGraph } from 'graphology';
import { describe, expect, it } from 'vitest';
import { fitLogistic } from '../../../src/analysis/network/logistic-fit.js';
import { buildGraph, measureGraph, measureNodes } from '../../../src/analysis/network/measure-nodes.js';
import { adjustFalseDiscovery, computeTwoSidedP } from '../../../src/analysis/network/multiple-tests.js';
import { testContrast, testLikeness } from '../../../src/analysis/network/permute-birds.js';
import { buildLagKernels, measureGain } from '../../../src/analysis/network/raised-cosines.js';

describe('many tests', () => {
  it('adjusts the p-values of Benjamini and Hochberg (1995), example 3.2', () => {
    const p = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.324, 0.4262, 0.5719, 0.6528, 0.759, 1];
    const q = adjustFalseDiscovery(p);
    // Rejected at 0.05 in the paper: the four smallest. Adjusted values as R's p.adjust computes them.
    expect(q.filter((x) => x <= 0.05)).toHaveLength(4);
    [0.0015, 0.003, 0.0095, 0.035625, 0.0603, 0.0638571, 0.0638571, 0.0645, 0.0765, 0.486, 0.5811818, 0.714875, 0.7532308, 0.8132143, 1].forEach((x, i) => expect(q[i]).toBeCloseTo(x, 6));
  });

  it('keeps order and leaves out what is missing', () => {
    expect(adjustFalseDiscovery([0.5, NaN, 0.01])).toEqual([0.5, NaN, 0.02]);
    expect(computeTwoSidedP(5, [1, 2, 3])).toBe(0.5);
    expect(computeTwoSidedP(2, [1, 2, 3])).toBe(1);
    expect(computeTwoSidedP(9, Array.from({ length: 99 }, () => 0))).toBe(0.02);
  });
});

describe('permutation of birds', () => {
  const fill = (upper: number[][]): number[][] => { const m = [0, 1, 2, 3, 4].map(() => [NaN, NaN, NaN, NaN, NaN]); upper.forEach((row, i) => row.forEach((v, k) => { m[i][i + 1 + k] = v; m[i + 1 + k][i] = v; })); return m; };

  it('gives the exact Mantel test of two 5 x 5 matrices, computed independently by listing all 120 orders', () => {
    const test = testLikeness(fill([[2, 5, 6, 8], [4, 5, 7], [3, 6], [2]]), fill([[1, 4, 7, 6], [5, 4, 6], [2, 5], [3]]), 0, 1);
    expect(test.statistic).toBeCloseTo(0.8520111, 7);
    expect(test).toMatchObject({ permutations: 120, isExact: true });
    expect(test.p).toBeCloseTo(1 / 120, 12);
  });

  it('agrees with itself when orders are drawn: many birds alike, and unlike', () => {
    const n = 9;
    const x = Array.from({ length: n }, (_, i) => Array.from({ length: n }, (__, j) => (i === j ? NaN : ((i * 7 + j * 13) % 17))));
    expect(testLikeness(x, x.map((r) => r.map((v) => 2 * v + 1)), 999, 4)).toMatchObject({ statistic: expect.closeTo(1, 12), p: expect.closeTo(0.001, 3), isExact: false });
    const y = Array.from({ length: n }, (_, i) => Array.from({ length: n }, (__, j) => (i === j ? NaN : ((i * 5 + j * 3) % 11))));
    expect(testLikeness(x, y, 999, 4).p).toBeGreaterThan(0.05);
  });

  it('contrasts marked pairs, two-sided, over all orders', () => {
    const weight = fill([[9, 1, 1, 1], [1, 1, 1], [9, 1], [1]]);
    const isMarked = weight.map((row, i) => row.map((_, j) => (i < 2 && j < 2 && i !== j) || (i > 1 && i < 4 && j > 1 && j < 4 && i !== j)));
    const test = testContrast(weight, isMarked, 0, 1);
    expect(test.statistic).toBe(8);
    // Two disjoint pairs of five birds can be placed in 15 ways; one of them is the best.
    expect(test.p).toBeCloseTo(1 / 15, 12);
  });
});

describe('logistic regression', () => {
  // Spector and Mazzeo (1980, J. Econ. Educ. 11:37-44): grade point average, test score, taught by the new method, grade A.
  const data = `2.66 20 0 0,2.89 22 0 0,3.28 24 0 0,2.92 12 0 0,4.00 21 0 1,2.86 17 0 0,2.76 17 0 0,2.87 21 0 0,3.03 25 0 0,3.92 29 0 1,2.63 20 0 0,
    3.32 23 0 0,3.57 23 0 0,3.26 25 0 1,3.53 26 0 0,2.74 19 0 0,2.75 25 0 0,2.83 19 0 0,3.12 23 1 0,3.16 25 1 1,2.06 22 1 0,3.62 28 1 1,2.89 14 1 0,
    3.51 26 1 0,3.54 24 1 1,2.83 27 1 1,3.39 17 1 1,2.67 24 1 0,3.65 21 1 1,4.00 23 1 1,3.10 21 1 0,2.39 19 1 1`.split(',').map((r) => r.trim().split(/\s+/).map(Number));
  const rows = { columns: 4, start: [0], index: [] as number[], value: [] as number[], outcome: [] as number[], offset: [] as number[], cluster: [] as number[] };
  data.forEach(([average, score, method, grade], r) => {
    rows.index.push(0, 1, 2, 3);
    rows.value.push(1, average, score, method);
    rows.start.push(rows.index.length);
    rows.outcome.push(grade);
    rows.offset.push(0);
    rows.cluster.push(r);
  });

  it('has the weights, standard errors and likelihood of Greene, Econometric Analysis, 5th ed. 2003, table 21.1', () => {
    const fit = fitLogistic(rows, [0, 0, 0, 0]);
    [-13.021, 2.826, 0.095, 2.379].forEach((w, k) => expect(fit.weights[k]).toBeCloseTo(w, 3));
    [4.931, 1.263, 0.142, 1.065].forEach((e, k) => expect(Math.sqrt(fit.covariance.get(k, k))).toBeCloseTo(e, 3));
    expect(fit.logLikelihood).toBeCloseTo(-12.89, 2);
  });

  it('with one cluster per row has the robust covariance of the plain sandwich', () => {
    const fit = fitLogistic(rows, [0, 0, 0, 0]);
    const meat = [0, 1, 2, 3].map(() => [0, 0, 0, 0]);
    data.forEach(([average, score, method, grade]) => {
      const x = [1, average, score, method];
      const residual = grade - 1 / (1 + Math.exp(-x.reduce((s, v, k) => s + v * fit.weights[k], 0)));
      for (let k = 0; k < 4; k++) for (let m = 0; m < 4; m++) meat[k][m] += residual * residual * x[k] * x[m];
    });
    for (let k = 0; k < 4; k++) {
      let sum = 0;
      for (let m = 0; m < 4; m++) for (let n = 0; n < 4; n++) sum += fit.covariance.get(k, m) * meat[m][n] * fit.covariance.get(n, k);
      expect(fit.robust.get(k, k)).toBeCloseTo(sum, 8);
    }
  });

  it('shrinks with the ridge and refuses columns that cannot be told apart', () => {
    expect(Math.abs(fitLogistic(rows, [0, 5, 5, 5]).weights[3])).toBeLessThan(1);
    const twice = { ...rows, columns: 5, index: [] as number[], value: [] as number[], start: [0] };
    data.forEach(([a, s, m]) => { twice.index.push(0, 1, 2, 3, 4); twice.value.push(1, a, s, m, m); twice.start.push(twice.index.length); });
    expect(() => fitLogistic(twice, [0, 0, 0, 0, 0])).toThrow(/cannot be fitted/);
  });
});

describe('raised cosines', () => {
  const kernels = buildLagKernels(5, 0.03, 0.7, 1, 0.05);

  it('sum to 2 between the second and the last but one peak, as four that overlap a quarter turn apart must', () => {
    const spacing = Math.log(0.75 / 0.08) / 4;
    const peak = (k: number): number => 0.08 * Math.exp(k * spacing) - 0.05;
    for (let m = Math.ceil(peak(1) / 0.001); m < Math.floor(peak(3) / 0.001); m++) {
      let sum = 0;
      for (let k = 0; k < 5; k++) sum += kernels.values[k * kernels.steps + m];
      expect(sum).toBeCloseTo(2, 9);
    }
    const third = kernels.values.subarray(2 * kernels.steps, 3 * kernels.steps);
    expect(third.indexOf(Math.max(...third)) * 0.001).toBeCloseTo(peak(2), 2);
  });

  it('gain is the mean of exp over the window and its gradient that of differences', () => {
    const w = [0.3, -0.2, 1.1, 0.4, 0];
    const { logGain, gradient } = measureGain(kernels, w, 0.05, 0.5);
    expect(measureGain(kernels, [0, 0, 0, 0, 0], 0.05, 0.5).logGain).toBe(0);
    w.forEach((_, k) => {
      const moved = measureGain(kernels, w.map((v, m) => (m === k ? v + 1e-6 : v)), 0.05, 0.5).logGain;
      expect((moved - logGain) / 1e-6).toBeCloseTo(gradient[k], 4);
    });
  });
});

describe('measures of nodes and graph', () => {
  it('betweenness is that of the karate club of Zachary (1977), as networkx 2.8.8 computes it', () => {
    const edges = `1-2 1-3 1-4 1-5 1-6 1-7 1-8 1-9 1-11 1-12 1-13 1-14 1-18 1-20 1-22 1-32 2-3 2-4 2-8 2-14 2-18 2-20 2-22 2-31 3-4 3-8 3-9 3-10 3-14 3-28 3-29 3-33 4-8 4-13 4-14 5-7 5-11 6-7 6-11 6-17 7-17
      9-31 9-33 9-34 10-34 14-34 15-33 15-34 16-33 16-34 19-33 19-34 20-34 21-33 21-34 23-33 23-34 24-26 24-28 24-30 24-33 24-34 25-26 25-28 25-32 26-32 27-30 27-34 28-34 29-32 29-34 30-33 30-34 31-33 31-34 32-33 32-34 33-34`
      .split(/\s+/).map((e) => e.split('-'));
    const club = new UndirectedGraph();
    for (const [a, b] of edges) club.mergeEdge(a, b);
    expect([club.order, club.size]).toEqual([34, 78]);
    // Both directions of every tie, all of weight 1.
    const graph = buildGraph(club.nodes(), edges.flatMap(([a, b]) => [{ source: a, target: b, weight: 1 }, { source: b, target: a, weight: 1 }]));
    const nodes = new Map(measureNodes(graph).map((n) => [n.bird, n]));
    for (const [bird, value] of [['1', 0.437635], ['34', 0.304075], ['33', 0.145247], ['3', 0.143657], ['32', 0.138276]] as const) expect(nodes.get(bird)!.betweenness).toBeCloseTo(value, 6);
    expect(nodes.get('1')).toMatchObject({ outDegree: 16, inDegree: 16, outStrength: 16, reciprocity: 1 });
    expect(measureGraph(graph).density).toBeCloseTo(0.139037, 6);
  });

  it('reciprocity is that of networkx 2.8.8 on two small directed graphs', () => {
    const one = [[0, 1], [1, 0], [0, 2], [2, 3], [3, 2], [3, 0], [1, 3]].map(([s, t]) => ({ source: String(s), target: String(t), weight: 1 }));
    expect(measureGraph(buildGraph(['0', '1', '2', '3'], one)).reciprocity).toBeCloseTo(4 / 7, 12);
    const weights = [[0, 10, 2, 0], [6, 0, 0, 4], [0, 0, 0, 8], [3, 1, 8, 0]];
    const two = weights.flatMap((row, i) => row.flatMap((weight, j) => (weight > 0 ? [{ source: String(i), target: String(j), weight }] : [])));
    expect(measureGraph(buildGraph(['0', '1', '2', '3'], two)).weightedReciprocity).toBeCloseTo(30 / 42, 12);
  });

  it('long ways are those of small weights', () => {
    // a-b-c is shorter (1/2 + 1/2) than a-c (1/0.5); with a strong direct edge b lies on no path.
    const edge = (source: string, target: string, weight: number): { source: string; target: string; weight: number } => ({ source, target, weight });
    const over = measureNodes(buildGraph(['a', 'b', 'c'], [edge('a', 'b', 2), edge('b', 'c', 2), edge('a', 'c', 0.5)]));
    const past = measureNodes(buildGraph(['a', 'b', 'c'], [edge('a', 'b', 2), edge('b', 'c', 2), edge('a', 'c', 3)]));
    expect([over[1].betweenness, past[1].betweenness]).toEqual([0.5, 0]);
    expect(measureNodes(new DirectedGraph())).toEqual([]);
  });
});
