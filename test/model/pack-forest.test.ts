import { describe, expect, it } from 'vitest';
import { joinTrees, scoreForest, scoreRows, type Forest, type Tree } from '../../src/model/forest.js';
import { packForest, unpackForest } from '../../src/model/pack-forest.js';
import { Random } from '../../src/simulate/random.js';

const WIDTH = 7;

/** A tree in order of breadth with leaves in steps of 2^-14, as they are kept. */
function drawTree(random: Random, cuts: number[][], most: number): Tree {
  const feature = [-1], threshold = [0], left = [0], value = [0];
  for (let n = 0; n < feature.length; n++) {
    if (feature.length + 2 > most || (n > 0 && random.chance(0.3))) { value[n] = random.whole(-32767, 32767) / 16384; continue; }
    const f = random.whole(0, WIDTH - 1);
    feature[n] = f; threshold[n] = random.pick(cuts[f]); left[n] = feature.length;
    feature.push(-1, -1); threshold.push(0, 0); left.push(0, 0); value.push(0, 0);
  }
  return { feature, threshold, left, value };
}

function drawForest(seed: number, trees: number, most: number, cutCount: number): Forest {
  const random = new Random(seed), cuts = Array.from({ length: WIDTH }, () => Array.from({ length: cutCount }, () => random.range(-50, 50)));
  return {
    features: Array.from({ length: WIDTH }, (_, f) => `f${f}`), bias: random.range(-3, 3), calibration: { from: [-1, 2], to: [-0.5, 3] },
    ...joinTrees(Array.from({ length: trees }, () => drawTree(random, cuts, most))),
  };
}

/** The plain walk: node by node, value against threshold. */
function scorePlainly({ bias, roots, links, numbers }: Forest, x: readonly number[]): number {
  return roots.reduce((sum, root) => {
    let n = root;
    while (links[2 * n] >= 0) n = links[2 * n + 1] + (x[links[2 * n]] < numbers[n] ? 0 : 1);
    return sum + numbers[n];
  }, bias);
}

describe('a forest is scored as by the plain walk', () => {
  it.each([[11, 1, 1, 1], [12, 5, 31, 3], [13, 60, 253, 256], [17, 12, 511, 200], [18, 40, 3, 1]])('seed %i, %i trees of up to %i nodes, %i cuts', (seed, trees, most, cutCount) => {
    const forest = drawForest(seed, trees, most, cutCount), random = new Random(seed), odd = [Number.NaN, Infinity, -Infinity, 0, -0, 5e-324, ...forest.numbers.filter((_, n) => forest.links[2 * n] >= 0).slice(0, 40)];
    const rows = Array.from({ length: 300 }, () => Array.from({ length: WIDTH }, () => (random.chance(0.4) ? random.pick(odd) : random.range(-60, 60)))), plain = rows.map((x) => scorePlainly(forest, x));
    expect(rows.map((x) => scoreForest(forest, x))).toEqual(plain);
    expect([...scoreRows(forest, rows.length, (k) => rows[k])]).toEqual(plain);
  });

  it('any number of rows at once as one by one, from memory that is written over', () => {
    const forest = drawForest(16, 30, 127, 40), random = new Random(16), rows = Array.from({ length: 200 }, () => Array.from({ length: WIDTH }, () => random.range(-60, 60))), row = new Float64Array(WIDTH);
    const plain = rows.map((x) => scorePlainly(forest, x));
    for (let count = 0; count <= rows.length; count += count < 67 ? 1 : 19) {
      expect([...scoreRows(forest, count, (k) => { row.set(rows[k]); return row; })]).toEqual(plain.slice(0, count));
    }
  });

  it('with nodes in any order behind their root', () => {
    // Leaves before inner nodes, and the second pair of children first.
    const tree: Tree = { feature: [0, -1, -1, -1, 1], threshold: [1, 0, 0, 0, 5], left: [3, 0, 0, 0, 1], value: [0, 7, 9, 11, 0] };
    const forest: Forest = { ...drawForest(19, 1, 1, 1), ...joinTrees([tree]) }, rows = [[0, 0], [1, 4], [1, 5]].map((x) => [...x, 0, 0, 0, 0, 0]);
    expect([...scoreRows(forest, 3, (k) => rows[k])]).toEqual([11, 7, 9].map((v) => forest.bias + v));
  });

  it('with thresholds that every value passes, or none', () => {
    const forest: Forest = { ...drawForest(14, 1, 1, 1), ...joinTrees([{ feature: [0, 1, -1, -1, -1], threshold: [Infinity, -Infinity, 0, 0, 0], left: [1, 3, 0, 0, 0], value: [0, 0, 1, 2, 4] }]), bias: 0 };
    for (const v of [-1e300, 0, 1e300]) expect([...scoreRows(forest, 1, () => [v, v, 0, 0, 0, 0, 0])]).toEqual([4]);
  });

  it('not at all where it does not fit', () => {
    const score = (forest: Forest) => scoreRows(forest, 1, () => [0, 0, 0, 0, 0, 0, 0]);
    expect(() => score(drawForest(15, 60, 255, 400))).toThrow(/too many features or thresholds/);
    // A chain of 256 inner nodes.
    const nodes = Array.from({ length: 513 }, (_, n) => n), isInner = (n: number) => n % 2 === 0 && n < 512;
    const chain: Tree = { feature: nodes.map((n) => (isInner(n) ? 0 : -1)), threshold: nodes.map(() => 1), left: nodes.map((n) => n + 1), value: nodes };
    expect(() => score({ ...drawForest(20, 1, 1, 1), ...joinTrees([chain]) })).toThrow(/too many leaves to be scored: 257/);
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
