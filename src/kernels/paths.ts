/** Linear paths between spectra of tracks, per bin: normal equations and predictions over the kernels' memory. */
import type { Ptr } from './kernel-exports.js';
import type { Kernels } from './kernels.js';

/** Complex spectra, [frame][bin]. */
export interface ComplexPlanes { re: Float32Array; im: Float32Array; frameCount: number; binCount: number }

/** Taps of a path: how many frames it spans and how many of them lie ahead. */
export interface TapShape { tapCount: number; leadTaps: number }

/** Bins [first, end) that are worked on. */
export type BinRange = readonly [number, number];

/** Rows of one value per bin: real parts [row][bin], imaginary parts [row][bin]. */
export interface BinRows { re: Float32Array; im: Float32Array }

/** Bytes of kernel memory for `refCount` references of `frameCount` frames and the system of all their taps. */
export function countPathBytes(refCount: number, frameCount: number, binCount: number, { tapCount }: TapShape): number {
  const size = refCount * tapCount, rows = frameCount + tapCount + 4;
  return (8 * (refCount + 1) * rows + 16 * rows + 8 * size * (size + 6)) * (binCount + 4) + 32 * size * (size + 1) + (1 << 16);
}

/**
 * Adds sum over frames of w conj(Z_a) Z_b to row a (a + 1) / 2 + b of `gram` and w conj(Z_a) Y to row a of `right`, for all taps
 * a >= b of the references; Z of tap l is the reference l - leadTaps frames ago. Rows hold `weight`'s bins; only those in range are touched.
 */
export function addPathProducts(
  k: Kernels, refs: readonly ComplexPlanes[], observed: ComplexPlanes, weight: Float32Array, taps: TapShape, range: BinRange, gram: BinRows, right: BinRows,
): void {
  const { frameCount, binCount } = observed, width = padWidth(range), size = refs.length * taps.tapCount;
  if (range[1] <= range[0]) return;
  const mark = k.mark();
  const { ptr, planeRows } = placePlanes(k, [...refs, observed], taps, range, 0);
  const weightPtr = k.allocF32(frameCount * width);
  copyRows(weight, binCount, frameCount, range, k.f32(weightPtr, frameCount * width), width);
  const productRows = (size * (size + 3)) / 2, products = k.allocF32(productRows * 2 * width), values = k.f32(products, productRows * 2 * width);
  k.fn.pathProducts(ptr, refs.length, planeRows, taps.tapCount, taps.leadTaps, weightPtr, frameCount, width, products);
  for (let a = 0; a < size; a++) {
    for (let b = 0; b <= a; b++) addRow(values, (a * (a + 3)) / 2 + b, width, gram, (a * (a + 1)) / 2 + b, binCount, range);
    addRow(values, (a * (a + 3)) / 2 + a + 1, width, right, a, binCount, range);
  }
  k.release(mark);
}

/**
 * Predicted crosstalk sum of H Z and its variance, zero outside the range.
 * @param mean rows by tap
 * @param factor inverse Cholesky factor of the precision, rows a (a + 1) / 2 + b
 */
export function predictPaths(k: Kernels, refs: readonly ComplexPlanes[], taps: TapShape, range: BinRange, mean: BinRows, factor: BinRows): { crosstalk: ComplexPlanes; variance: Float32Array } {
  const { frameCount, binCount } = refs[0], size = refs.length * taps.tapCount, frames = (frameCount + 3) & ~3;
  if (range[1] <= range[0]) return createPrediction(frameCount, binCount);
  const mark = k.mark();
  const { ptr, planeRows } = placePlanes(k, refs, taps, range, frames - frameCount);
  const meanPtr = placeRows(k, [mean], size, binCount, range), factorPtr = placeRows(k, [factor], (size * (size + 1)) / 2, binCount, range);
  const prediction = predictPlaced(k, { ptr, planeRows, refCount: refs.length, meanPtr, factorPtr }, taps, range, frameCount, binCount);
  k.release(mark);
  return prediction;
}

function createPrediction(frameCount: number, binCount: number): { crosstalk: ComplexPlanes; variance: Float32Array } {
  return { crosstalk: { re: new Float32Array(frameCount * binCount), im: new Float32Array(frameCount * binCount), frameCount, binCount }, variance: new Float32Array(frameCount * binCount) };
}

/** Prediction from references, means and factors that lie in the kernels' memory. */
function predictPlaced(
  k: Kernels, { ptr, planeRows, refCount, meanPtr, factorPtr }: { ptr: Ptr; planeRows: number; refCount: number; meanPtr: Ptr; factorPtr: Ptr }, taps: TapShape, range: BinRange, frameCount: number, binCount: number,
): { crosstalk: ComplexPlanes; variance: Float32Array } {
  const width = padWidth(range), frames = (frameCount + 3) & ~3, { crosstalk, variance } = createPrediction(frameCount, binCount);
  const crosstalkPtr = k.allocF32(frames * 2 * width), variancePtr = k.allocF32(frames * width);
  k.fn.pathPrediction(ptr, refCount, planeRows, taps.tapCount, frameCount, width, meanPtr, factorPtr, crosstalkPtr, variancePtr);
  unpackRows(k.f32(crosstalkPtr, frames * width), width, crosstalk.re, binCount, frameCount, range);
  unpackRows(k.f32(crosstalkPtr + frames * width * 4, frames * width), width, crosstalk.im, binCount, frameCount, range);
  unpackRows(k.f32(variancePtr, frames * width), width, variance, binCount, frameCount, range);
  return { crosstalk, variance };
}

/** A system that is known beforehand, and the first tap of the joint system that it speaks of. */
export interface KnownSystem { system: SystemRows; at: number }

/**
 * Crosstalk that the paths from all references predict and its variance, as `addPathProducts`, `solveSystem` and `predictPaths` give them one after
 * the other, with nothing copied between: known systems, and with `weight` the observed spectra themselves.
 */
export function explainObserved(
  k: Kernels, refs: readonly ComplexPlanes[], observed: ComplexPlanes, weight: Float32Array | undefined, known: readonly KnownSystem[], priorVariance: Float64Array, taps: TapShape, range: BinRange,
): { crosstalk: ComplexPlanes; variance: Float32Array } {
  const { frameCount, binCount } = observed, width = padWidth(range), size = refs.length * taps.tapCount, triangle = (size * (size + 1)) / 2, row = 2 * width;
  if (range[1] <= range[0]) return createPrediction(frameCount, binCount);
  const mark = k.mark(), frames = (frameCount + 3) & ~3;
  const { ptr, planeRows } = placePlanes(k, [...refs, observed], taps, range, frames - frameCount);
  const gramPtr = k.allocF32(triangle * row), rightPtr = k.allocF32(size * row), factorPtr = k.allocF32((triangle + size) * row), meanPtr = k.allocF32(size * row);
  const gram = k.f32(gramPtr, triangle * row).fill(0), right = k.f32(rightPtr, size * row).fill(0);
  if (weight) {
    // Products stand where the factor will be.
    const weightPtr = k.allocF32(frameCount * width), products = k.f32(factorPtr, (triangle + size) * row);
    copyRows(weight, binCount, frameCount, range, k.f32(weightPtr, frameCount * width), width);
    k.fn.pathProducts(ptr, refs.length, planeRows, taps.tapCount, taps.leadTaps, weightPtr, frameCount, width, factorPtr);
    for (let a = 0; a < size; a++) {
      const from = ((a * (a + 3)) / 2) * row, end = from + (a + 1) * row;
      gram.set(products.subarray(from, end), ((a * (a + 1)) / 2) * row);
      right.set(products.subarray(end, end + row), a * row);
    }
  }
  for (const { system, at } of known) {
    for (let a = 0; a < system.size; a++) {
      takeRow(system.right, a, binCount, range, right, (at + a) * row, width);
      for (let b = 0; b <= a; b++) takeRow(system.gram, (a * (a + 1)) / 2 + b, binCount, range, gram, (((at + a) * (at + a + 1)) / 2 + at + b) * row, width);
    }
  }
  k.fn.solvePathBins(gramPtr, rightPtr, placePrior(k, size, width, priorVariance, binCount, range, 1), size, width, k.alloc(32 * size * (size + 1)), meanPtr, factorPtr);
  const prediction = predictPlaced(k, { ptr, planeRows, refCount: refs.length, meanPtr, factorPtr }, taps, range, frameCount, binCount);
  k.release(mark);
  return prediction;
}

/** Adds one row of a system to a row of a range. */
function takeRow(source: BinRows, sourceRow: number, binCount: number, range: BinRange, target: Float32Array, to: number, width: number): void {
  const from = sourceRow * binCount + range[0];
  for (let b = 0; b < range[1] - range[0]; b++) { target[to + b] += source.re[from + b]; target[to + width + b] += source.im[from + b]; }
}

/** Normal equations as rows: lower triangle of the gram, and the right side. */
export interface SystemRows { size: number; binCount: number; gram: BinRows; right: BinRows }

/** Posterior means and inverse Cholesky factors of a system with a Gaussian prior of mean 0 and variances [tap][bin], zero outside the range. */
export function solveSystem(k: Kernels, system: SystemRows, priorVariance: Float64Array, range: BinRange): { mean: BinRows; factor: BinRows } {
  const { size, binCount } = system, triangle = (size * (size + 1)) / 2, width = padWidth(range);
  const mean = createRows(size, binCount), factor = createRows(triangle, binCount);
  if (range[1] <= range[0]) return { mean, factor };
  const mark = k.mark(), placed = placeSystem(k, [system], priorVariance, range, 1);
  const meanPtr = k.allocF32(2 * size * width), factorPtr = k.allocF32(2 * triangle * width);
  k.fn.solvePathBins(placed.gram, placed.right, placed.prior, size, width, placed.scratch, meanPtr, factorPtr);
  const means = k.f32(meanPtr, 2 * size * width), factors = k.f32(factorPtr, 2 * triangle * width);
  for (let r = 0; r < size; r++) addRow(means, r, width, mean, r, binCount, range);
  for (let r = 0; r < triangle; r++) addRow(factors, r, width, factor, r, binCount, range);
  k.release(mark);
  return { mean, factor };
}

/** r^H M^-1 r, and the determinant of M times the prior variances, of every `step`-th bin of a range; M and r of the sum of some systems. */
export function weighSystems(k: Kernels, systems: readonly SystemRows[], priorVariance: Float64Array, range: BinRange, step: number): { explained: Float64Array; det: Float64Array } {
  const count = Math.max(0, Math.ceil((range[1] - range[0]) / step)), { size } = systems[0], width = padWidth([0, count]);
  if (count === 0) return { explained: new Float64Array(0), det: new Float64Array(0) };
  const mark = k.mark(), placed = placeSystem(k, systems, priorVariance, range, step);
  const out = k.alloc(16 * width);
  k.fn.weighPathBins(placed.gram, placed.right, placed.prior, size, width, placed.scratch, out, out + 8 * width);
  const explained = k.f64(out, count).slice(), det = k.f64(out + 8 * width, count).slice();
  k.release(mark);
  return { explained, det };
}

function placeSystem(k: Kernels, systems: readonly SystemRows[], priorVariance: Float64Array, range: BinRange, step: number): { gram: Ptr; right: Ptr; prior: Ptr; scratch: Ptr } {
  const { size, binCount } = systems[0], width = padWidth([0, Math.ceil((range[1] - range[0]) / step)]);
  const prior = placePrior(k, size, width, priorVariance, binCount, range, step);
  const gram = placeRows(k, systems.map((s) => s.gram), (size * (size + 1)) / 2, binCount, range, step);
  return { gram, right: placeRows(k, systems.map((s) => s.right), size, binCount, range, step), prior, scratch: k.alloc(32 * size * (size + 1)) };
}

function placePrior(k: Kernels, size: number, width: number, priorVariance: Float64Array, binCount: number, range: BinRange, step: number): Ptr {
  const prior = k.alloc(8 * size * width), variances = k.f64(prior, size * width).fill(1);
  for (let a = 0; a < size; a++) for (let n = 0, b = range[0]; b < range[1]; n++, b += step) variances[a * width + n] = priorVariance[a * binCount + b];
  return prior;
}

export function createRows(count: number, binCount: number): BinRows {
  return { re: new Float32Array(count * binCount), im: new Float32Array(count * binCount) };
}

function padWidth(range: BinRange): number {
  return (Math.max(0, range[1] - range[0]) + 3) & ~3;
}

/** Planes with zero rows around, so that every tap of every frame exists. */
function placePlanes(k: Kernels, planes: readonly ComplexPlanes[], { tapCount, leadTaps }: TapShape, range: BinRange, extraRows: number): { ptr: Ptr; planeRows: number } {
  const { frameCount, binCount } = planes[0], width = padWidth(range), before = tapCount - 1 - leadTaps;
  const planeRows = before + frameCount + leadTaps + extraRows;
  const ptr = k.allocF32(planes.length * 2 * planeRows * width), all = k.f32(ptr, planes.length * 2 * planeRows * width).fill(0);
  planes.forEach((x, p) => {
    for (const [part, values] of [x.re, x.im].entries()) {
      const at = ((2 * p + part) * planeRows + before) * width;
      copyRows(values, binCount, frameCount, range, all.subarray(at, at + frameCount * width), width);
    }
  });
  return { ptr, planeRows };
}

/** Sum of some sets of rows, every `step`-th bin of a range. */
function placeRows(k: Kernels, sets: readonly BinRows[], count: number, binCount: number, range: BinRange, step = 1): Ptr {
  const width = padWidth([0, Math.ceil((range[1] - range[0]) / step)]), ptr = k.allocF32(count * 2 * width), all = k.f32(ptr, count * 2 * width).fill(0);
  for (const rows of sets) {
    for (let r = 0; r < count; r++) {
      for (let b = r * binCount + range[0], to = 2 * r * width; b < r * binCount + range[1]; b += step, to++) { all[to] += rows.re[b]; all[to + width] += rows.im[b]; }
    }
  }
  return ptr;
}

function copyRows(source: Float32Array, binCount: number, count: number, range: BinRange, target: Float32Array, width: number): void {
  target.fill(0);
  for (let t = 0; t < count; t++) target.set(source.subarray(t * binCount + range[0], t * binCount + range[1]), t * width);
}

function unpackRows(source: Float32Array, width: number, target: Float32Array, binCount: number, count: number, range: BinRange): void {
  for (let t = 0; t < count; t++) target.set(source.subarray(t * width, t * width + range[1] - range[0]), t * binCount + range[0]);
}

function addRow(source: Float32Array, row: number, width: number, target: BinRows, targetRow: number, binCount: number, range: BinRange): void {
  const re = 2 * row * width, im = re + width, to = targetRow * binCount + range[0];
  for (let b = 0; b < range[1] - range[0]; b++) { target.re[to + b] += source[re + b]; target.im[to + b] += source[im + b]; }
}
