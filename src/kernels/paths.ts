/** Linear paths between spectra of tracks, per bin: normal equations and predictions in the kernels' memory. */
import type { Ptr } from './kernel-exports.js';
import type { PlacedPlanes, PlaneSpace } from './plane-space.js';

/** Taps of a path: how many frames it spans and how many of them lie ahead. */
export interface TapShape { tapCount: number; leadTaps: number }

/** A system that is known beforehand, and the first tap of the joint system that it speaks of; one reference each. */
export interface KnownSystem { system: Ptr; at: number }

/** Values of the normal equations of `size` taps: rows a (a + 3) / 2 + b, b <= a of the gram and b = a + 1 of the right side, each re [width] then im. */
export function countSystemValues(size: number, width: number): number {
  return size * (size + 3) * width;
}

/** Bytes of kernel memory that work with `refCount` references over `frameCount` frames takes for a time. */
export function countPathBytes(refCount: number, frameCount: number, width: number, { tapCount }: TapShape): number {
  const size = refCount * tapCount;
  return 4 * (3 * countSystemValues(size, width) + size * width * 2) + 32 * size * (size + 1) + 32 * (refCount + 2) * (frameCount + 2 * tapCount + 8) + (1 << 16);
}

/** Normal equations of all taps of the references, into `out`; see `pathProducts` of the kernels. `weight` holds f32 [frame][width]. */
export function writeProducts({ k, width }: PlaneSpace, refs: readonly PlacedPlanes[], observed: PlacedPlanes, weight: Ptr, { tapCount, leadTaps }: TapShape, out: Ptr): void {
  const { frameCount } = observed, mark = k.mark(), table = placeTable(k, [...refs, observed]);
  const scratch = k.alloc(32 * (refs.length * (frameCount + 2 * tapCount) + 2 * (frameCount + tapCount) + 8));
  k.fn.pathProducts(table, refs.length, frameCount, tapCount, leadTaps, weight, width, scratch, out);
  k.release(mark);
}

/** r^H M^-1 r, and the determinant of M times the prior variances, of every `step`-th bin from `first` on; M and r of the sum of up to two systems. */
export function weighSystems(
  { k, width, binCount }: PlaneSpace, systems: readonly Ptr[], prior: Ptr, size: number, first: number, step: number,
): { explained: Float64Array; det: Float64Array } {
  const count = Math.max(0, Math.ceil((binCount - first) / step)), padded = count + (count & 1), mark = k.mark();
  const scratch = k.alloc(32 * size * (size + 1)), out = k.alloc(16 * padded);
  k.fn.weighPathBins(systems[0], systems[1] ?? 0, prior, size, width, first, binCount, step, scratch, out, out + 8 * padded);
  const result = { explained: k.f64(out, count).slice(), det: k.f64(out + 8 * padded, count).slice() };
  k.release(mark);
  return result;
}

/**
 * Crosstalk that the paths from all references predict, and its variance: known systems, and with `weight` what is observed itself.
 * @param prior f64 [tap of all references][width], variances of the paths before anything is known
 */
export function explainObserved(
  space: PlaneSpace, refs: readonly PlacedPlanes[], observed: PlacedPlanes, weight: Ptr | undefined, known: readonly KnownSystem[], prior: Ptr, taps: TapShape, crosstalk: PlacedPlanes, variance: Ptr,
): void {
  const { k, width } = space, { frameCount } = observed, { tapCount, leadTaps } = taps, size = refs.length * tapCount, mark = k.mark();
  const values = countSystemValues(size, width), system = k.allocF32(values);
  if (weight === undefined) k.f32(system, values).fill(0);
  else writeProducts(space, refs, observed, weight, taps, system);
  for (const part of known) addSystemTo(space, system, part.system, tapCount, part.at);
  const mean = k.allocF32(2 * size * width), factor = k.allocF32(size * (size + 1) * width);
  k.fn.solvePathBins(system, prior, size, width, k.alloc(32 * size * (size + 1)), mean, factor);
  const scratch = k.alloc(32 * refs.length * (frameCount + tapCount + 7));
  k.fn.pathPrediction(placeTable(k, refs), refs.length, frameCount, tapCount, leadTaps, width, mean, factor, scratch, crosstalk.ptr, variance);
  k.release(mark);
}

/** Adds a system of `size` taps to the block of a larger one that begins at tap `at`. */
export function addSystemTo({ k, width }: PlaneSpace, into: Ptr, part: Ptr, size: number, at: number): void {
  const rowBytes = 8 * width;
  if (at === 0) return k.fn.addValues(part, countSystemValues(size, width), into);
  for (let a = 0; a < size; a++) {
    const from = part + ((a * (a + 3)) / 2) * rowBytes, to = into + (((at + a) * (at + a + 3)) / 2) * rowBytes;
    k.fn.addValues(from, 2 * (a + 1) * width, to + at * rowBytes);
    k.fn.addValues(from + (a + 1) * rowBytes, 2 * width, to + (at + a + 1) * rowBytes);
  }
}

function placeTable(k: PlaneSpace['k'], planes: readonly PlacedPlanes[]): Ptr {
  const table = k.alloc(4 * planes.length);
  k.i32(table, planes.length).set(planes.map((x) => x.ptr));
  return table;
}
