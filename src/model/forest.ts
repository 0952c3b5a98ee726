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

/** Rows that go through a tree one after the other while it is in the first cache. */
const BLOCK_ROWS = 64;

/** Raw log-odds of a feature vector (in the order of `forest.features`). What the forest holds must not change once it was asked. */
export function scoreForest(forest: Forest, x: ArrayLike<number>): number {
  return scoreRows(forest, 1, () => x)[0];
}

/** Raw log-odds of many vectors. @param getRow gives the vector of row k, each once, in order; it need not live longer than until the next is asked for */
export function scoreRows(forest: Forest, count: number, getRow: (k: number) => ArrayLike<number>): Float64Array {
  const shape = arrange(forest), width = forest.features.length, out = new Float64Array(count).fill(forest.bias), bins = new Uint16Array(Math.min(count, BLOCK_ROWS) * width);
  for (let first = 0; first < count; first += BLOCK_ROWS) {
    const end = Math.min(count, first + BLOCK_ROWS);
    for (let k = first; k < end; k++) placeRow(shape, getRow(k), bins, (k - first) * width, width);
    addTrees(shape, bins, width, out.subarray(first, end));
  }
  return out;
}

/** Where the values of a vector lie among the thresholds of their features. */
function placeRow({ starts, cuts }: Arranged, x: ArrayLike<number>, bins: Uint16Array, at: number, width: number): void {
  for (let f = 0; f < width; f++) {
    const from = starts[f], v = x[f];
    let low = from, high = starts[f + 1];
    while (low < high) {
      const middle = (low + high) >> 1;
      if (v < cuts[middle]) high = middle; else low = middle + 1;
    }
    bins[at + f] = low - from;
  }
}

/** Adds the leaves of all trees, tree by tree, so that every row's sum is made in the same order. */
function addTrees({ roots, words, leaves }: Arranged, bins: Uint16Array, width: number, sums: Float64Array): void {
  for (let t = 0; t < roots.length; t++) {
    const root = roots[t];
    for (let k = 0, at = 0; k < sums.length; k++, at += width) {
      let word = words[root];
      for (let feature = word >>> 24; feature !== LEAF; feature = word >>> 24) word = words[root + (word & 0xffff) + (bins[at + feature] > ((word >>> 16) & 255) ? 1 : 0)];
      sums[k] += leaves[word & 0xffffff];
    }
  }
}

/**
 * A forest as it is read fastest: where a value lies among a feature's thresholds is found once, and a node is one word, so that large forests stay in the second cache.
 * Of a word the top byte is the feature, then come the place of its threshold (8 bits) and the first child, counted from the root (16); of a leaf the number of its value (24).
 */
interface Arranged { roots: Int32Array; starts: Int32Array; cuts: Float64Array; words: Uint32Array; leaves: Float64Array }

const LEAF = 255;
const arranged = new WeakMap<Forest, Arranged>();

function arrange(forest: Forest): Arranged {
  const known = arranged.get(forest);
  if (known) return known;
  const { features, roots, links, numbers } = forest, perFeature = listCuts(forest), places = perFeature.map((c) => new Map(c.map((v, k) => [v, k])));
  const starts = new Int32Array(features.length + 1), words = new Uint32Array(numbers.length), leaves: number[] = [];
  perFeature.forEach((c, f) => { starts[f + 1] = starts[f] + c.length; });
  roots.forEach((root, k) => {
    const end = k + 1 < roots.length ? roots[k + 1] : numbers.length;
    if (end - root > 0x10000) throw new RangeError('a tree has too many nodes to be scored');
    for (let n = root; n < end; n++) {
      const feature = links[2 * n];
      if (feature >= 0) words[n] = ((feature << 24) | (places[feature].get(numbers[n])! << 16) | (links[2 * n + 1] - root)) >>> 0;
      else words[n] = ((LEAF << 24) | (leaves.push(numbers[n]) - 1)) >>> 0;
    }
  });
  const out = { roots, starts, cuts: Float64Array.from(perFeature.flat()), words, leaves: Float64Array.from(leaves) };
  arranged.set(forest, out);
  return out;
}

/** Thresholds in use, by feature, rising. @throws RangeError for 255 features or more, and 257 thresholds of one */
export function listCuts({ features, links, numbers }: Pick<Forest, 'features' | 'links' | 'numbers'>): number[][] {
  const found = features.map(() => new Set<number>());
  numbers.forEach((v, n) => { if (links[2 * n] >= 0) found[links[2 * n]].add(v); });
  if (features.length >= LEAF || found.some((c) => c.size > 256)) throw new RangeError('a forest has too many features or thresholds');
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
