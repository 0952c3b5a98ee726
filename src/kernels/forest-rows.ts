/** Forests in the kernels' memory, asked about 128 rows at once (see assembly/forest.ts). */
import type { Ptr } from './kernel-exports.js';
import { createKernels, type Kernels } from './kernels.js';

/** A forest as columns of numbers. */
export interface ForestColumns {
  /** Thresholds of feature f, rising: cuts[starts[f]] .. cuts[starts[f + 1] - 1]. */
  starts: Int32Array;
  cuts: Float64Array;
  /** Of every tree, and of an end: its first number in `nodes`, its first leaf. */
  trees: Int32Array;
  /** Per inner node, parents first: the place of its threshold plus its feature; slots of the lower child (low 16 bits) and of the other: leaves of a tree from 0 on, inner nodes from 256. */
  nodes: Int32Array;
  leaves: Float64Array;
}

const BLOCK_ROWS = 128;
const VECTOR_BYTES = 16;
/** Slots of the nodes of a tree, bits of numbers of leaves, the numbers. */
const SLOT_VECTORS = 512 + 8 + 8;

/** A forest with a memory of its own. */
export class ForestRows {
  private readonly k: Kernels;
  private readonly starts: Ptr;
  private readonly cuts: Ptr;
  private readonly trees: Ptr;
  private readonly nodes: Ptr;
  private readonly leaves: Ptr;
  private readonly passed: Ptr;
  private readonly slots: Ptr;
  private readonly rows: Ptr;
  private readonly out: Ptr;
  private readonly width: number;
  private readonly treeCount: number;

  constructor(module: WebAssembly.Module, forest: ForestColumns) {
    const { starts, cuts, trees, nodes, leaves } = forest, width = starts.length - 1, passedBytes = VECTOR_BYTES * (cuts.length + width);
    const k = createKernels(module, 4 * (starts.length + trees.length + nodes.length) + 8 * (cuts.length + leaves.length + BLOCK_ROWS * (width + 1)) + passedBytes + VECTOR_BYTES * (SLOT_VECTORS + 16));
    const place = (values: Int32Array | Float64Array): Ptr => {
      const ptr = k.alloc(values.byteLength);
      if (values instanceof Int32Array) k.i32(ptr, values.length).set(values); else k.f64(ptr, values.length).set(values);
      return ptr;
    };
    this.k = k;
    this.width = width;
    this.treeCount = trees.length / 2 - 1;
    this.starts = place(starts);
    this.cuts = place(cuts);
    // Counts of numbers and of vectors become counts of bytes; two slots in a word stay apart, for a slot's bytes need 13 bits.
    this.trees = place(trees.map((n, at) => (at % 2 === 0 ? 4 * n : n)));
    this.nodes = place(nodes.map((n) => VECTOR_BYTES * n));
    this.leaves = place(leaves);
    this.passed = k.alloc(passedBytes);
    this.slots = k.alloc(VECTOR_BYTES * SLOT_VECTORS);
    this.rows = k.alloc(8 * BLOCK_ROWS * width);
    this.out = k.alloc(8 * BLOCK_ROWS);
  }

  /** Adds to each of `sums` the leaves of its row, tree by tree. @param getRow gives the features of row n, each once, in order; they are copied at once */
  add(sums: Float64Array, getRow: (n: number) => ArrayLike<number>): void {
    const { k, width } = this, rows = k.f64(this.rows, BLOCK_ROWS * width), out = k.f64(this.out, BLOCK_ROWS);
    for (let first = 0; first < sums.length; first += BLOCK_ROWS) {
      const count = Math.min(BLOCK_ROWS, sums.length - first);
      for (let n = 0; n < count; n++) rows.set(getRow(first + n), n * width);
      k.fn.markThresholds(this.rows, count, width, this.starts, this.cuts, this.passed);
      out.set(sums.subarray(first, first + count));
      k.fn.addLeaves(this.trees, this.treeCount, this.nodes, this.leaves, this.passed, this.slots, count, this.out);
      sums.set(out.subarray(0, count), first);
    }
  }
}
