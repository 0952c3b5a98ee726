/** Spectra and powers of a stretch of tracks in the kernels' memory, rows of one value per bin padded to whole vectors. */
import type { Ptr } from './kernel-exports.js';
import type { Kernels } from './kernels.js';

/** Complex spectra of one track: re [frame][width] at `ptr`, im of the same form behind it. */
export interface PlacedPlanes { ptr: Ptr; frameCount: number }

/** Gives and fills rows. What is taken lives until a mark before it is released. */
export class PlaneSpace {
  /** Values of a row: bins, then up to three more. */
  readonly width: number;

  constructor(readonly k: Kernels, readonly binCount: number) {
    this.width = padBins(binCount);
  }

  /** Takes f32 [frame][width], uninitialised. */
  createRows(frameCount: number): Ptr {
    return this.k.allocF32(frameCount * this.width);
  }

  /** Takes planes of some tracks one behind the other, uninitialised. */
  createPlanes(frameCount: number, trackCount = 1): PlacedPlanes[] {
    const size = 2 * frameCount * this.width, ptr = this.k.allocF32(trackCount * size);
    return Array.from({ length: trackCount }, (_, t) => ({ ptr: ptr + 4 * t * size, frameCount }));
  }

  /** View of rows. */
  viewRows(ptr: Ptr, frameCount: number): Float32Array {
    return this.k.f32(ptr, frameCount * this.width);
  }

  /** Copies one value per bin; `beyond` stands behind the last one given. */
  placeRow(values: ArrayLike<number>, beyond = 0): Ptr {
    const ptr = this.createRows(1), row = this.viewRows(ptr, 1);
    row.set(values);
    row.fill(beyond, values.length);
    return ptr;
  }

  placeFlags(flags: Uint8Array): Ptr {
    const ptr = this.k.alloc(flags.length);
    this.k.u8(ptr, flags.length).set(flags);
    return ptr;
  }

  /** |X|^2, into `out`, which is taken where it is not given. */
  measurePower({ ptr, frameCount }: PlacedPlanes, out = this.createRows(frameCount)): Ptr {
    const count = frameCount * this.width;
    this.k.fn.planePower(ptr, ptr + 4 * count, count, out);
    return out;
  }

  /** Mean over 3 frames and 3 bins, into `out`; frames whose flag in `keep` (0 for none) is 0 become 0. */
  smooth(power: Ptr, frameCount: number, out: Ptr, keep: Ptr = 0): void {
    const mark = this.k.mark(), scratch = this.k.allocF32(this.width + 8);
    this.k.fn.smoothBins(power, frameCount, this.binCount, this.width, keep, scratch, out);
    this.k.release(mark);
  }

  /** Sum of rows over frames [first, end), those whose flag in `keep` is 0 left out; a copy, one value per bin. */
  sumRows(power: Ptr, first: number, end: number, keep: Ptr = 0): Float32Array {
    const mark = this.k.mark(), out = this.createRows(1);
    this.k.fn.sumRows(power, keep, first, end, this.width, out);
    const sums = this.k.f32(out, this.binCount).slice();
    this.k.release(mark);
    return sums;
  }

  /** Sum of every row; a copy. */
  sumFrames(power: Ptr, frameCount: number): Float32Array {
    const mark = this.k.mark(), out = this.k.allocF32(frameCount);
    this.k.fn.sumFrames(power, frameCount, this.width, out);
    const sums = this.k.f32(out, frameCount).slice();
    this.k.release(mark);
    return sums;
  }
}

/** Values of a row for some bins. */
export function padBins(binCount: number): number {
  return (binCount + 3) & ~3;
}
