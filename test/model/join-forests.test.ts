import { describe, expect, it } from 'vitest';
// @ts-expect-error plain JavaScript
import { joinForests } from '../../bench/learn/join-forests.mjs';
import { joinTrees, scoreForest, type Forest } from '../../src/model/forest.js';

const make = (bias: number, features: string[], values: number[]): Forest => ({
  features, bias, calibration: { from: [], to: [] },
  ...joinTrees(values.map((v, k) => ({ feature: [k % features.length, -1, -1], threshold: [k, 0, 0], left: [1, 0, 0], value: [0, v, -v] }))),
});

describe('joined forests', () => {
  it('say the mean of what they say', () => {
    const a = make(-1, ['x', 'y'], [0.5, 0.25, -0.75]), b = make(0.5, ['x', 'y'], [1, -0.125]);
    const both = joinForests([a, b]) as Forest;
    for (const row of [[-1, -1], [0.5, 0.5], [0.5, 3], [2.5, 0], [9, 9]]) expect(scoreForest(both, row)).toBe((scoreForest(a, row) + scoreForest(b, row)) / 2);
    expect([both.roots.length, both.features]).toEqual([5, ['x', 'y']]);
    const c = make(0.25, ['x', 'y'], [0.375, 0.75]), all = joinForests([a, b, c]) as Forest, step = 1 / 16384;
    for (const row of [[-1, -1], [0.5, 0.5], [2.5, 0]]) expect(Math.abs(scoreForest(all, row) - (scoreForest(a, row) + scoreForest(b, row) + scoreForest(c, row)) / 3)).toBeLessThanOrEqual(7 * step / 2);
    expect(all.roots.length).toBe(7);
  });

  it('must ask for the same features', () => {
    expect(() => joinForests([make(0, ['x'], [1]), make(0, ['y'], [1])]) as Forest).toThrow(/other features/);
  });
});
