import { describe, expect, it } from 'vitest';
import { joinTrees, scoreForest, scoreRows, type Tree } from '../../src/model/forest.js';
import { packForest, unpackForest } from '../../src/model/pack-forest.js';
import { Random } from '../../src/simulate/random.js';
import { scoreReference } from '../reference/forest.js';
import { drawForest, drawRows, WIDTH } from './draw-forest.js';

describe('a forest is asked as by the plain walk', () => {
  it.each([[11, 1, 1, 1], [12, 5, 31, 3], [13, 60, 253, 256]])('seed %i, %i trees of up to %i nodes, %i cuts', (seed, trees, most, cutCount) => {
    const forest = drawForest(seed, trees, most, cutCount), rows = drawRows(seed, 100, forest), plain = scoreReference(forest, rows), row = new Float64Array(WIDTH);
    expect(rows.map((x) => scoreForest(forest, x))).toEqual(plain);
    expect([...scoreRows(forest, rows.length, (k) => { row.set(rows[k]); return row; })]).toEqual(plain);
  });
});

describe('a packed forest', () => {
  it.each([[1, 1, 1, 1], [2, 3, 3, 5], [3, 20, 61, 256], [4, 40, 255, 100]])('comes back as it was (seed %i, %i trees of up to %i nodes, %i cuts)', (seed, trees, most, cutCount) => {
    const forest = drawForest(seed, trees, most, cutCount), back = unpackForest(JSON.parse(JSON.stringify(packForest(forest))));
    expect(back.roots).toEqual(forest.roots);
    // What stands for the child of a leaf means nothing.
    for (let n = 0; n < forest.numbers.length; n++) {
      expect(back.links[2 * n]).toBe(forest.links[2 * n]);
      if (forest.links[2 * n] >= 0) expect(back.links[2 * n + 1]).toBe(forest.links[2 * n + 1]);
    }
    expect(back.numbers).toEqual(forest.numbers);
    const random = new Random(seed + 100);
    for (let k = 0; k < 50; k++) {
      const x = Array.from({ length: WIDTH }, () => random.range(-60, 60));
      expect(scoreForest(back, x)).toBe(scoreForest(forest, x));
    }
    expect({ features: back.features, bias: back.bias, calibration: back.calibration }).toEqual({ features: forest.features, bias: forest.bias, calibration: forest.calibration });
  });

  it('keeps values to the nearest step of 2^-14', () => {
    const tree = (value: number): Tree => ({ feature: [0, -1, -1], threshold: [1.5, 0, 0], left: [1, 0, 0], value: [0, value, -value] });
    const forest = { ...drawForest(5, 1, 1, 1), ...joinTrees([tree(0.123456789)]) }, back = unpackForest(packForest(forest));
    expect(Math.abs(back.numbers[1] - 0.123456789)).toBeLessThanOrEqual(0.5 / 16384);
    expect(back.numbers[2]).toBe(-back.numbers[1]);
  });

  it('is refused where it would not come back', () => {
    const base = drawForest(6, 1, 1, 1), pack = (tree: Tree) => packForest({ ...base, ...joinTrees([tree]) });
    expect(() => pack({ feature: [-1], threshold: [0], left: [0], value: [2] })).toThrow(/value of a leaf is too large/);
    expect(() => pack({ feature: [-1], threshold: [0], left: [0], value: [Number.NaN] })).toThrow(/value of a leaf is too large/);
    expect(() => pack({ feature: [0, 0, -1, -1, -1], threshold: [1, 2, 0, 0, 0], left: [3, 1, 0, 0, 0], value: [0, 0, 0, 0, 0] })).toThrow(/order of breadth/);
    expect(() => packForest(drawForest(7, 60, 255, 400))).toThrow(/too many features or thresholds/);
    expect(() => packForest({ ...base, features: Array.from({ length: 255 }, (_, f) => `f${f}`) })).toThrow(/too many features or thresholds/);
  });
});
