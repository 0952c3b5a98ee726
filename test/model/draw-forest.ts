/** Forests drawn at random, for tests of what keeps and what asks them. */
import { joinTrees, type Forest, type Tree } from '../../src/model/forest.js';
import { Random } from '../../src/simulate/random.js';

export const WIDTH = 7;

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

export function drawForest(seed: number, trees: number, most: number, cutCount: number): Forest {
  const random = new Random(seed), cuts = Array.from({ length: WIDTH }, () => Array.from({ length: cutCount }, () => random.range(-50, 50)));
  return {
    features: Array.from({ length: WIDTH }, (_, f) => `f${f}`), bias: random.range(-3, 3), calibration: { from: [-1, 2], to: [-0.5, 3] },
    ...joinTrees(Array.from({ length: trees }, () => drawTree(random, cuts, most))),
  };
}

/** Rows with thresholds of the forest among their values, and what else may come. */
export function drawRows(seed: number, count: number, { links, numbers }: Forest): number[][] {
  const random = new Random(seed), cuts = [...numbers].filter((_, n) => links[2 * n] >= 0), odd = [Number.NaN, Infinity, -Infinity, 0, -0, 5e-324, 1e300, ...cuts.slice(0, 40)];
  return Array.from({ length: count }, () => Array.from({ length: WIDTH }, () => (random.chance(0.4) ? random.pick(odd) : random.range(-60, 60))));
}
