import type { Models } from '../attribute/attribution.js';
import { ForestRows, type ForestColumns } from '../kernels/forest-rows.js';
import { PatternProducts } from '../kernels/pattern-products.js';
import { listCuts, type Forest } from '../model/forest.js';
import { MOST_TEMPLATES } from '../model/voices.js';

/** The same models, asked by kernels, and voices compared by them: the same bits as the plain loops. What a forest holds must not change once it was asked. */
export function decideByKernels(models: Models, kernels: WebAssembly.Module): Models {
  const known = new Map<Forest, ForestRows>();
  let voices: PatternProducts | undefined;
  return {
    ...models,
    placeVoices: (count) => {
      if (!voices || voices.capacity < count) voices = new PatternProducts(kernels, Math.max(LEAST_VOICES, 2 * count), MOST_TEMPLATES);
      return { patterns: voices.patterns, products: voices };
    },
    scoreRows: (forest, count, getRow) => {
      const rows = known.get(forest) ?? new ForestRows(kernels, arrangeForest(forest)), sums = new Float64Array(count).fill(forest.bias);
      known.set(forest, rows);
      rows.add(sums, getRow);
      return sums;
    },
  };
}

/** Room for voices grows by doubling from here on. */
const LEAST_VOICES = 1024;
const MOST_LEAVES = 256;

/** A forest as the kernels read it. @throws RangeError where a tree has more than 256 leaves or children before their parent, a feature more than 256 thresholds, or features are more than 254 */
export function arrangeForest(forest: Forest): ForestColumns {
  const { links, roots, numbers } = forest, perFeature = listCuts(forest), starts = new Int32Array(perFeature.length + 1);
  perFeature.forEach((c, f) => { starts[f + 1] = starts[f] + c.length; });
  const cuts = Float64Array.from(perFeature.flat()), trees = new Int32Array(2 * roots.length + 2), slots = new Int32Array(numbers.length), nodes: number[] = [], leaves: number[] = [];
  for (let t = 0; t < roots.length; t++) {
    const root = roots[t], end = t + 1 < roots.length ? roots[t + 1] : numbers.length;
    trees[2 * t] = nodes.length;
    trees[2 * t + 1] = leaves.length;
    countSlots(links, root, end, slots);
    for (let n = root; n < end; n++) {
      const feature = links[2 * n], child = links[2 * n + 1];
      if (feature < 0) { leaves.push(numbers[n]); continue; }
      if (!(child > n && child + 1 < end)) throw new RangeError(`the children of node ${n - root} of tree ${t} do not lie behind it`);
      nodes.push(findCut(cuts, starts[feature], starts[feature + 1], numbers[n]) + feature, slots[child] | (slots[child + 1] << 16));
    }
  }
  trees[2 * roots.length] = nodes.length;
  trees[2 * roots.length + 1] = leaves.length;
  return { starts, cuts, trees, nodes: Int32Array.from(nodes), leaves: Float64Array.from(leaves) };
}

/** Slots of the nodes of a tree, in their order: leaves from 0 on, inner nodes from 256. */
function countSlots(links: Int32Array, root: number, end: number, slots: Int32Array): void {
  let leaf = 0, inner = MOST_LEAVES;
  for (let n = root; n < end; n++) slots[n] = links[2 * n] < 0 ? leaf++ : inner++;
  if (leaf > MOST_LEAVES) throw new RangeError(`a tree has too many leaves to be scored: ${leaf}`);
}

/** Place of a threshold among those of its feature, [from, to). */
function findCut(cuts: Float64Array, from: number, to: number, cut: number): number {
  let low = from;
  for (let high = to - 1; low < high;) {
    const middle = (low + high) >> 1;
    if (cuts[middle] < cut) low = middle + 1; else high = middle;
  }
  return low;
}
