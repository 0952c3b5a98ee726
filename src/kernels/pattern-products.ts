/** Patterns of voices in the kernels' memory, and inner products of one with some others (see assembly/pattern-products.ts). */
import type { Ptr } from './kernel-exports.js';
import { createKernels, type Kernels } from './kernels.js';

const PATTERN_BYTES = 96;

/** Memory for so many patterns; those before are gone when others are placed. */
export class PatternProducts {
  readonly patterns: Int8Array;
  /** With which patterns products are wanted; at most `mostOthers`. */
  readonly others: Int32Array;
  private readonly products: Int32Array;
  private readonly ptr: Ptr;
  private readonly othersPtr: Ptr;
  private readonly outPtr: Ptr;
  private readonly k: Kernels;

  constructor(module: WebAssembly.Module, readonly capacity: number, mostOthers: number) {
    const k = createKernels(module, PATTERN_BYTES * capacity + 8 * mostOthers + 64);
    this.k = k;
    this.ptr = k.alloc(PATTERN_BYTES * capacity);
    this.othersPtr = k.alloc(4 * mostOthers);
    this.outPtr = k.alloc(4 * mostOthers);
    this.patterns = new Int8Array(k.memory.buffer, this.ptr, PATTERN_BYTES * capacity);
    this.others = k.i32(this.othersPtr, mostOthers);
    this.products = k.i32(this.outPtr, mostOthers);
  }

  /** Inner products of pattern n with the first `count` of `others`; a view until the next call. */
  multiply(n: number, count: number): Int32Array {
    this.k.fn.patternProducts(this.ptr, n, this.othersPtr, count, this.outPtr);
    return this.products;
  }
}
