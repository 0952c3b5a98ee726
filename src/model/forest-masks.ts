import type { Forest } from './forest.js';

/**
 * A forest as it is asked about many rows at once, a bit of a word for each: which rows pass a threshold is found once for all trees that ask about it, a node is two operations
 * for all rows, and nothing is branched on. After the idea of Lucchese et al. 2015 (QuickScorer, SIGIR), with rows in place of leaves as bits.
 */
export interface ForestMasks {
  /** Thresholds of feature f, rising: [starts[f], starts[f + 1]). */
  starts: Int32Array;
  cuts: Float64Array;
  /** Of every tree, and of an end: its first number in `nodes`, its first leaf. */
  trees: Int32Array;
  /** Per inner node, parents first, the place of its threshold in `passed`, and the slots of the child below (low 16 bits) and of the other. */
  nodes: Int32Array;
  leaves: Float64Array;
}

/** Rows that are asked about at once. */
export const MASK_ROWS = 32;
/** Leaves of a tree have the first slots, in their order, inner nodes those behind. */
const MOST_LEAVES = 256;

/** Memory for a block of rows. */
export interface MaskSpace {
  /** Per feature f, from starts[f] + f on: which rows pass each threshold, and a last place. */
  passed: Int32Array;
  slots: Int32Array;
  /** Per row the number of its leaf, four to a word. */
  found: Int32Array;
}

export function createMaskSpace({ starts, cuts }: ForestMasks): MaskSpace {
  return { passed: new Int32Array(cuts.length + starts.length), slots: new Int32Array(2 * MOST_LEAVES), found: new Int32Array(MASK_ROWS / 4) };
}

/** @throws RangeError where a tree has more than 256 leaves, or thresholds of one feature are more than 256 */
export function arrangeMasks(forest: Forest): ForestMasks {
  const { roots, numbers } = forest, perFeature = listCuts(forest), starts = new Int32Array(perFeature.length + 1), places = perFeature.map((c) => new Map(c.map((v, k) => [v, k])));
  perFeature.forEach((c, f) => { starts[f + 1] = starts[f] + c.length; });
  const trees: number[] = [], nodes: number[] = [], leaves: number[] = [];
  roots.forEach((root, t) => {
    trees.push(nodes.length, leaves.length);
    const order = orderNodes(forest, root), slots = new Map<number, number>();
    const inner = order.filter((n) => forest.links[2 * n] >= 0), ends = order.filter((n) => forest.links[2 * n] < 0);
    if (ends.length > MOST_LEAVES) throw new RangeError(`tree ${t} has too many leaves to be scored: ${ends.length}`);
    ends.forEach((n, k) => { slots.set(n, k); leaves.push(numbers[n]); });
    inner.forEach((n, k) => slots.set(n, MOST_LEAVES + k));
    for (const n of inner) {
      const feature = forest.links[2 * n], child = forest.links[2 * n + 1];
      nodes.push(starts[feature] + feature + places[feature].get(numbers[n])!, slots.get(child)! | (slots.get(child + 1)! << 16));
    }
  });
  trees.push(nodes.length, leaves.length);
  return { starts, cuts: Float64Array.from(perFeature.flat()), trees: Int32Array.from(trees), nodes: Int32Array.from(nodes), leaves: Float64Array.from(leaves) };
}

/** Nodes of a tree, parents first. */
function orderNodes({ links }: Forest, root: number): number[] {
  const order = [root];
  for (let k = 0; k < order.length; k++) if (links[2 * order[k]] >= 0) order.push(links[2 * order[k] + 1], links[2 * order[k] + 1] + 1);
  return order;
}

/** Thresholds in use, by feature, rising. @throws RangeError for 255 features or more, and 257 thresholds of one */
export function listCuts({ features, links, numbers }: Pick<Forest, 'features' | 'links' | 'numbers'>): number[][] {
  const found = features.map(() => new Set<number>());
  numbers.forEach((v, n) => { if (links[2 * n] >= 0) found[links[2 * n]].add(v); });
  if (features.length >= 255 || found.some((c) => c.size > 256)) throw new RangeError('a forest has too many features or thresholds');
  return found.map((c) => [...c].sort((a, b) => a - b));
}

/** Marks row `k` of a block where its values lie among the thresholds. @param passed zeros, and the marks of other rows */
export function markRow({ starts, cuts }: ForestMasks, x: ArrayLike<number>, k: number, passed: Int32Array): void {
  const bit = 1 << k;
  for (let f = 0; f + 1 < starts.length; f++) {
    const v = x[f];
    let low = starts[f];
    for (let left = starts[f + 1] - low; left > 0;) {
      const half = (left + 1) >> 1;
      // No branch, for none could be foreseen; a value that is not a number passes, as in the plain walk.
      low += half * +!(v < cuts[low + half - 1]);
      left -= half;
    }
    passed[low + f] |= bit;
  }
}

/** From the marks of all rows, in place, which rows pass each threshold. */
export function spreadMarks({ starts }: ForestMasks, passed: Int32Array): void {
  for (let f = 0; f + 1 < starts.length; f++) {
    for (let at = starts[f + 1] + f, above = 0; at >= starts[f] + f; at--) {
      const marked = passed[at];
      passed[at] = above;
      above |= marked;
    }
  }
}

/** Adds to each of the sums [first, end), one for each row of the block, its leaves, tree by tree. */
export function addLeaves({ trees, nodes, leaves }: ForestMasks, { passed, slots, found }: MaskSpace, sums: Float64Array, first: number, end: number): void {
  for (let t = 0; t + 2 < trees.length; t += 2) {
    const leaf = trees[t + 1];
    slots[MOST_LEAVES] = -1;
    for (let n = trees[t], at = MOST_LEAVES; n < trees[t + 2]; n += 2, at++) {
      const here = slots[at], up = here & passed[nodes[n]], children = nodes[n + 1];
      slots[children & 0xffff] = here ^ up;
      slots[children >>> 16] = up;
    }
    numberLeaves(slots, trees[t + 3] - leaf, found);
    for (let k = first; k < end; k++) sums[k] += leaves[leaf + ((found[(k - first) >> 2] >>> (((k - first) & 3) << 3)) & 255)];
  }
}

/** Bit 0 of a byte each from four bits: their product with this, bits 0, 8, 16 and 24 of it. */
const SPREAD = 0x204081, ONES = 0x01010101;

/** In which leaf each row is. @param slots rows of each leaf; written over */
function numberLeaves(slots: Int32Array, count: number, found: Int32Array): void {
  let a = 0, b = 0, c = 0, d = 0, e = 0, f = 0, g = 0, h = 0;
  for (let bit = 0, left = count; left > 1; bit++) {
    if (left & 1) slots[left++] = 0;
    left >>= 1;
    // Rows in leaves whose number has this bit; then pairs of leaves count as one.
    let odd = 0;
    for (let k = 0; k < left; k++) {
      const other = slots[2 * k + 1];
      odd |= other;
      slots[k] = slots[2 * k] | other;
    }
    a |= (Math.imul(odd & 15, SPREAD) & ONES) << bit;
    b |= (Math.imul((odd >>> 4) & 15, SPREAD) & ONES) << bit;
    c |= (Math.imul((odd >>> 8) & 15, SPREAD) & ONES) << bit;
    d |= (Math.imul((odd >>> 12) & 15, SPREAD) & ONES) << bit;
    e |= (Math.imul((odd >>> 16) & 15, SPREAD) & ONES) << bit;
    f |= (Math.imul((odd >>> 20) & 15, SPREAD) & ONES) << bit;
    g |= (Math.imul((odd >>> 24) & 15, SPREAD) & ONES) << bit;
    h |= (Math.imul(odd >>> 28, SPREAD) & ONES) << bit;
  }
  found[0] = a; found[1] = b; found[2] = c; found[3] = d; found[4] = e; found[5] = f; found[6] = g; found[7] = h;
}
