import { addPathProducts, predictPaths } from '../kernels/paths.js';
import type { BinRange, BinRows, TapShape } from '../kernels/paths.js';
import type { Kernels } from '../kernels/kernels.js';
import type { Planes } from './planes.js';

/**
 * Normal equations of a linear path per bin: gram[a][b] = sum over frames of w conj(Z_a) Z_b for a >= b, right[a] = sum of w conj(Z_a) Y.
 * Row (a, b) of the lower triangle has index a (a + 1) / 2 + b; every row holds one value per bin.
 */
export interface PathSystem { size: number; binCount: number; gram: BinRows; right: BinRows }

export function createPathSystem(size: number, binCount: number): PathSystem {
  return { size, binCount, gram: createRows((size * (size + 1)) / 2, binCount), right: createRows(size, binCount) };
}

function createRows(count: number, binCount: number): BinRows {
  return { re: new Float32Array(count * binCount), im: new Float32Array(count * binCount) };
}

/** Adds a smaller system to the block that begins at row and column `at`. */
export function addSystem(into: PathSystem, part: PathSystem, at: number): void {
  const { binCount } = into;
  const add = (target: BinRows, to: number, source: BinRows, from: number): void => {
    for (let k = 0; k < binCount; k++) { target.re[to + k] += source.re[from + k]; target.im[to + k] += source.im[from + k]; }
  };
  for (let a = 0; a < part.size; a++) {
    add(into.right, (at + a) * binCount, part.right, a * binCount);
    for (let b = 0; b <= a; b++) add(into.gram, (((at + a) * (at + a + 1)) / 2 + at + b) * binCount, part.gram, ((a * (a + 1)) / 2 + b) * binCount);
  }
}

/** Posterior of a path: its mean per tap and bin, and the inverse of the Cholesky factor of its precision (lower triangle). */
export interface PathSolution { size: number; binCount: number; mean: BinRows; factor: BinRows }

/**
 * Solves every bin of the system with a Gaussian prior of mean 0 and the variances `priorVariance`, [tap][bin]
 * (regularised least squares; Golub & Van Loan, Matrix Computations, 4.2).
 */
export function solvePaths(system: PathSystem, priorVariance: Float64Array, range: BinRange = [0, system.binCount]): PathSolution {
  const { size, binCount, gram, right } = system;
  const mean = createRows(size, binCount), factor = createRows((size * (size + 1)) / 2, binCount);
  const lr = new Float64Array(size * size), li = new Float64Array(size * size), xr = new Float64Array(size), xi = new Float64Array(size);
  for (let bin = range[0]; bin < range[1]; bin++) {
    for (let a = 0, row = bin; a < size; a++) {
      for (let b = 0; b <= a; b++, row += binCount) { lr[a * size + b] = gram.re[row]; li[a * size + b] = gram.im[row]; }
      lr[a * size + a] += 1 / priorVariance[a * binCount + bin];
      xr[a] = right.re[a * binCount + bin]; xi[a] = right.im[a * binCount + bin];
    }
    factorise(lr, li, size);
    substitute(lr, li, size, xr, xi);
    invertLower(lr, li, size);
    for (let a = 0, row = bin; a < size; a++) {
      mean.re[a * binCount + bin] = xr[a]; mean.im[a * binCount + bin] = xi[a];
      for (let b = 0; b <= a; b++, row += binCount) { factor.re[row] = lr[a * size + b]; factor.im[row] = li[a * size + b]; }
    }
  }
  return { size, binCount, mean, factor };
}

/** The prior alone: no path known. */
export function solveUnknown(priorVariance: Float64Array, size: number, binCount: number, range: BinRange = [0, binCount]): PathSolution {
  return solvePaths(createPathSystem(size, binCount), priorVariance, range);
}

/** Hermitian Cholesky in place: M = L L^H, lower triangle; the diagonal is real. */
export function factorise(lr: Float64Array, li: Float64Array, n: number): void {
  for (let j = 0; j < n; j++) {
    let d = lr[j * n + j];
    for (let k = 0; k < j; k++) d -= lr[j * n + k] ** 2 + li[j * n + k] ** 2;
    const root = Math.sqrt(Math.max(d, 1e-300));
    lr[j * n + j] = root; li[j * n + j] = 0;
    for (let i = j + 1; i < n; i++) {
      let sr = lr[i * n + j], si = li[i * n + j];
      for (let k = 0; k < j; k++) {
        const ar = lr[i * n + k], ai = li[i * n + k], br = lr[j * n + k], bi = li[j * n + k];
        sr -= ar * br + ai * bi; si -= ai * br - ar * bi;
      }
      lr[i * n + j] = sr / root; li[i * n + j] = si / root;
    }
  }
}

/** x = (L L^H)^-1 x. */
function substitute(lr: Float64Array, li: Float64Array, n: number, xr: Float64Array, xi: Float64Array): void {
  for (let i = 0; i < n; i++) {
    let sr = xr[i], si = xi[i];
    for (let k = 0; k < i; k++) { sr -= lr[i * n + k] * xr[k] - li[i * n + k] * xi[k]; si -= lr[i * n + k] * xi[k] + li[i * n + k] * xr[k]; }
    xr[i] = sr / lr[i * n + i]; xi[i] = si / lr[i * n + i];
  }
  for (let i = n - 1; i >= 0; i--) {
    let sr = xr[i], si = xi[i];
    for (let k = i + 1; k < n; k++) { sr -= lr[k * n + i] * xr[k] + li[k * n + i] * xi[k]; si -= lr[k * n + i] * xi[k] - li[k * n + i] * xr[k]; }
    xr[i] = sr / lr[i * n + i]; xi[i] = si / lr[i * n + i];
  }
}

/** L^-1 in place, lower triangle. */
function invertLower(lr: Float64Array, li: Float64Array, n: number): void {
  for (let j = 0; j < n; j++) {
    lr[j * n + j] = 1 / lr[j * n + j];
    for (let i = j + 1; i < n; i++) {
      let sr = 0, si = 0;
      for (let k = j; k < i; k++) {
        const ar = lr[i * n + k], ai = li[i * n + k], br = lr[k * n + j], bi = li[k * n + j];
        sr -= ar * br - ai * bi; si -= ar * bi + ai * br;
      }
      lr[i * n + j] = sr / lr[i * n + i]; li[i * n + j] = si / lr[i * n + i];
    }
  }
}

/** Crosstalk that a path predicts, and the variance of the prediction that comes from not knowing the path exactly, [frame][bin]. */
export interface Prediction { crosstalk: Planes; variance: Float32Array }

/** Works on paths between spectra, in bins of a range; the rest of a result is 0. */
export class PathEngine {
  constructor(private readonly k: Kernels, readonly taps: TapShape) {}

  /** Adds observations of all frames: `observed` is explained by the references with the inverse variances `weight`, [frame][bin]. */
  addObservations(system: PathSystem, references: readonly Planes[], weight: Float32Array, observed: Planes, range: BinRange = [0, system.binCount]): void {
    addPathProducts(this.k, references, observed, weight, this.taps, range, system.gram, system.right);
  }

  /** Sum over taps of H Z, and z^T cov conj(z) = |L^-1 conj(z)|^2. */
  predict(solution: PathSolution, references: readonly Planes[], range: BinRange = [0, solution.binCount]): Prediction {
    return predictPaths(this.k, references, this.taps, range, solution.mean, solution.factor);
  }
}
