import { exp } from '../numeric/elementary.js';

/**
 * A boosted forest of small trees for a yes/no question: log-odds = bias + sum over trees. The trees' nodes lie one tree after the other; what is read
 * together lies together.
 */
export interface Forest {
  features: string[];
  bias: number;
  /** First node of every tree. */
  roots: Int32Array;
  /** Per node the feature (-1 at a leaf) and the child for values below the threshold; the other child is the next node. */
  links: Int32Array;
  /** Per node the threshold, at a leaf the value. */
  numbers: Float64Array;
  /** Calibration of the log-odds found on scenes left out of the fit: rising knots, linear between. */
  calibration: { from: number[]; to: number[] };
}

/** One tree; arrays are parallel, one entry per node, node 0 is the root. */
export interface Tree {
  /** Feature index, or -1 at a leaf. */
  feature: ArrayLike<number>;
  threshold: ArrayLike<number>;
  /** Child for values below the threshold; the other child is the next number. */
  left: ArrayLike<number>;
  value: ArrayLike<number>;
}

/** The nodes of all trees, as a forest holds them. */
export function joinTrees(trees: readonly Tree[]): Pick<Forest, 'roots' | 'links' | 'numbers'> {
  const count = trees.reduce((n, t) => n + t.feature.length, 0);
  const roots = new Int32Array(trees.length), links = new Int32Array(2 * count), numbers = new Float64Array(count);
  let at = 0;
  trees.forEach((tree, k) => {
    roots[k] = at;
    for (let n = 0; n < tree.feature.length; n++) {
      const feature = tree.feature[n];
      links[2 * (at + n)] = feature;
      links[2 * (at + n) + 1] = tree.left[n] + at;
      numbers[at + n] = feature < 0 ? tree.value[n] : tree.threshold[n];
    }
    at += tree.feature.length;
  });
  return { roots, links, numbers };
}

/** Raw log-odds of a feature vector (in the order of `forest.features`): the plain walk, node by node. */
export function scoreForest({ bias, roots, links, numbers }: Forest, x: ArrayLike<number>): number {
  let sum = bias;
  for (let t = 0; t < roots.length; t++) {
    let n = roots[t];
    while (links[2 * n] >= 0) n = links[2 * n + 1] + (x[links[2 * n]] < numbers[n] ? 0 : 1);
    sum += numbers[n];
  }
  return sum;
}

/** Raw log-odds of many vectors. @param getRow gives the vector of row k, each once, in order; it need not live longer than until the next is asked for */
export type ScoreRows = (forest: Forest, count: number, getRow: (k: number) => ArrayLike<number>) => Float64Array;

/** One by one by the plain walk; the kernels do the same several times as fast (src/pipeline/decision-kernels.ts). */
export const scoreRows: ScoreRows = (forest, count, getRow) => {
  const out = new Float64Array(count);
  for (let k = 0; k < count; k++) out[k] = scoreForest(forest, getRow(k));
  return out;
};

/** Thresholds in use, by feature, rising. @throws RangeError for 255 features or more, and 257 thresholds of one */
export function listCuts({ features, links, numbers }: Pick<Forest, 'features' | 'links' | 'numbers'>): number[][] {
  const found = features.map(() => new Set<number>());
  numbers.forEach((v, n) => { if (links[2 * n] >= 0) found[links[2 * n]].add(v); });
  if (features.length >= 255 || found.some((c) => c.size > 256)) throw new RangeError('a forest has too many features or thresholds');
  return found.map((c) => [...c].sort((a, b) => a - b));
}

/** Calibrated probability, kept within 0.0005 of 0 and 1. */
export function readProbability(forest: Forest, logOdds: number): number {
  const { from, to } = forest.calibration;
  let z = logOdds;
  if (from.length > 0) {
    const last = from.length - 1;
    if (logOdds <= from[0]) z = to[0];
    else if (logOdds >= from[last]) z = to[last];
    else {
      let k = 0;
      while (logOdds > from[k + 1]) k++;
      z = to[k] + ((to[k + 1] - to[k]) * (logOdds - from[k])) / Math.max(1e-9, from[k + 1] - from[k]);
    }
  }
  return Math.min(0.9995, Math.max(0.0005, 1 / (1 + exp(-z))));
}
