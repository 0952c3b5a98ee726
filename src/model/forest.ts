import { exp } from '../numeric/elementary.js';

/** A boosted forest of small trees for a yes/no question: log-odds = bias + sum over trees; arrays are parallel, one entry per node. */
export interface Forest {
  features: string[];
  bias: number;
  trees: Tree[];
  /** Calibration of the log-odds found on scenes left out of the fit: rising knots, linear between. */
  calibration: { from: number[]; to: number[] };
}

export interface Tree {
  /** Feature index, or -1 at a leaf. */
  feature: number[];
  threshold: number[];
  /** Child for value < threshold; the other child is the next number. */
  left: number[];
  value: number[];
}

/** Raw log-odds of a feature vector (in the order of `forest.features`). */
export function scoreForest(forest: Forest, x: ArrayLike<number>): number {
  let sum = forest.bias;
  for (const tree of forest.trees) {
    let n = 0;
    while (tree.feature[n] >= 0) n = x[tree.feature[n]] < tree.threshold[n] ? tree.left[n] : tree.left[n] + 1;
    sum += tree.value[n];
  }
  return sum;
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
