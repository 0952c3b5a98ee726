import { addPathProducts, createRows, explainObserved, predictPaths, solveSystem, weighSystems } from '../kernels/paths.js';
import type { BinRange, BinRows, TapShape } from '../kernels/paths.js';
import type { Kernels } from '../kernels/kernels.js';
import { ln } from '../numeric/elementary.js';
import type { Planes } from './planes.js';

/**
 * Normal equations of a linear path per bin: gram[a][b] = sum over frames of w conj(Z_a) Z_b for a >= b, right[a] = sum of w conj(Z_a) Y.
 * Row (a, b) of the lower triangle has index a (a + 1) / 2 + b; every row holds one value per bin.
 */
export interface PathSystem { size: number; binCount: number; gram: BinRows; right: BinRows }

export function createPathSystem(size: number, binCount: number): PathSystem {
  return { size, binCount, gram: createRows((size * (size + 1)) / 2, binCount), right: createRows(size, binCount) };
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

/** Crosstalk that a path predicts, and the variance of the prediction that comes from not knowing the path exactly, [frame][bin]. */
export interface Prediction { crosstalk: Planes; variance: Float32Array }

/** Works on paths between spectra, in bins of a range; the rest of a result is 0. */
export class PathEngine {
  constructor(private readonly k: Kernels, readonly taps: TapShape) {}

  /** Adds observations of all frames: `observed` is explained by the references with the inverse variances `weight`, [frame][bin]. */
  addObservations(system: PathSystem, references: readonly Planes[], weight: Float32Array, observed: Planes, range: BinRange = [0, system.binCount]): void {
    addPathProducts(this.k, references, observed, weight, this.taps, range, system.gram, system.right);
  }

  /**
   * Solves every bin of the system with a Gaussian prior of mean 0 and the variances `priorVariance`, [tap][bin]
   * (regularised least squares; Golub & Van Loan, Matrix Computations, 4.2).
   */
  solve(system: PathSystem, priorVariance: Float64Array, range: BinRange = [0, system.binCount]): PathSolution {
    return { size: system.size, binCount: system.binCount, ...solveSystem(this.k, system, priorVariance, range) };
  }

  /**
   * Log evidence that the observations of some systems together give for the model "one path, drawn from the prior", up to what depends on the
   * observations alone: sum over bins of r^H M^-1 r - ln det M - ln det P, with the gram G, the right side r, the prior variances P and
   * M = G + P^-1. Neighbouring bins say much the same, so that only every `step`-th one counts.
   * Two sets of observations belong to one path where the evidence of both together exceeds the sum of their evidences (MacKay 2003,
   * Information Theory, Inference, and Learning Algorithms, ch. 28).
   */
  weigh(systems: readonly PathSystem[], priorVariance: Float64Array, range: BinRange = [0, systems[0].binCount], step = 1): number {
    const { explained, det } = weighSystems(this.k, systems, priorVariance, range, step);
    return explained.reduce((sum, v, n) => sum + v - ln(det[n]), 0);
  }

  /**
   * What paths from all references predict, given known systems, each with the first of its taps in the joint system, and with `weight` what is observed
   * itself: the same as addObservations, addSystem, solve and predict in turn.
   */
  explain(references: readonly Planes[], observed: Planes, weight: Float32Array | undefined, known: readonly { system: PathSystem; at: number }[], priorVariance: Float64Array, range: BinRange): Prediction {
    return explainObserved(this.k, references, observed, weight, known, priorVariance, this.taps, range);
  }

  /** Sum over taps of H Z, and z^T cov conj(z) = |L^-1 conj(z)|^2. */
  predict(solution: PathSolution, references: readonly Planes[], range: BinRange = [0, solution.binCount]): Prediction {
    return predictPaths(this.k, references, this.taps, range, solution.mean, solution.factor);
  }
}
