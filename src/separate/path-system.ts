import { addSystemTo, countSystemValues, explainObserved, weighSystems, writeProducts } from '../kernels/paths.js';
import type { KnownSystem, TapShape } from '../kernels/paths.js';
import type { Ptr } from '../kernels/kernel-exports.js';
import type { PlacedPlanes, PlaneSpace } from '../kernels/plane-space.js';
import { ln } from '../numeric/elementary.js';

/** Works on paths between spectra, per bin. Systems are normal equations in the kernels' memory (`countSystemValues`). */
export class PathEngine {
  /** Values of the system of one path. */
  readonly systemValues: number;

  constructor(readonly space: PlaneSpace, readonly taps: TapShape) {
    this.systemValues = countSystemValues(taps.tapCount, space.width);
  }

  /** Takes memory for the system of one path. */
  createSystem(): Ptr {
    return this.space.k.allocF32(this.systemValues);
  }

  /** System of the path from `source`: `observed` is explained by it with the inverse variances `weight`, [frame][width]. */
  observe(source: PlacedPlanes, observed: PlacedPlanes, weight: Ptr, out: Ptr): void {
    writeProducts(this.space, [source], observed, weight, this.taps, out);
  }

  /** Adds the system of one path to another. */
  add(into: Ptr, part: Ptr): void {
    addSystemTo(this.space, into, part, this.taps.tapCount, 0);
  }

  /**
   * Log evidence that the observations of one or two systems together give for the model "one path, drawn from the prior", up to what depends on the
   * observations alone: sum over bins of r^H M^-1 r - ln det M - ln det P, with the gram G, the right side r, the prior variances P (f64 [tap][width])
   * and M = G + P^-1. Neighbouring bins say much the same, so that only every `step`-th one counts.
   * Two sets of observations belong to one path where the evidence of both together exceeds the sum of their evidences (MacKay 2003,
   * Information Theory, Inference, and Learning Algorithms, ch. 28).
   */
  weigh(systems: readonly Ptr[], prior: Ptr, step = 1): number {
    const { explained, det } = weighSystems(this.space, systems, prior, this.taps.tapCount, 0, step);
    return explained.reduce((sum, v, n) => sum + v - ln(det[n]), 0);
  }

  /**
   * What paths from all references predict, and the variance that comes from not knowing the paths exactly, given known systems, each with the first
   * of its taps in the joint system, and with `weight` what is observed itself: the regularised least-squares solution with the prior variances
   * f64 [tap of all references][width] (Golub & Van Loan, Matrix Computations, 4.2).
   */
  explain(references: readonly PlacedPlanes[], observed: PlacedPlanes, weight: Ptr | undefined, known: readonly KnownSystem[], prior: Ptr, crosstalk: PlacedPlanes, variance: Ptr): void {
    explainObserved(this.space, references, observed, weight, known, prior, this.taps, crosstalk, variance);
  }
}
