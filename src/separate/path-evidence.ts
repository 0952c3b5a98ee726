import { ln } from '../numeric/elementary.js';
import type { BinRange } from '../kernels/paths.js';
import { factorise } from './path-system.js';
import type { PathSystem } from './path-system.js';

/**
 * Log evidence that observations give for the model "one path, drawn from the prior", up to what depends on the observations alone: sum over bins of
 * r^H M^-1 r - ln det M - ln det P with the gram G, the right side r, the prior variances P and M = G + P^-1. Neighbouring bins say much the
 * same, so that only every `step`-th one counts.
 * Two sets of observations belong to one path where the evidence of their sum exceeds the sum of their evidences (MacKay 2003,
 * Information Theory, Inference, and Learning Algorithms, ch. 28).
 * @param prior variances, [tap][bin]
 */
export function measureEvidence(systems: readonly PathSystem[], prior: Float64Array, range: BinRange, step: number): number {
  const { size, binCount } = systems[0], lr = new Float64Array(size * size), li = new Float64Array(size * size), xr = new Float64Array(size), xi = new Float64Array(size);
  let explained = 0, logDet = 0, product = 1;
  for (let bin = range[0]; bin < range[1]; bin += step) {
    for (let a = 0, row = bin; a < size; a++) {
      const at = a * binCount + bin, variance = prior[at];
      xr[a] = 0; xi[a] = 0;
      for (const s of systems) { xr[a] += s.right.re[at]; xi[a] += s.right.im[at]; }
      for (let b = 0; b <= a; b++, row += binCount) {
        let re = 0, im = 0;
        for (const s of systems) { re += s.gram.re[row]; im += s.gram.im[row]; }
        lr[a * size + b] = re; li[a * size + b] = im;
      }
      lr[a * size + a] += 1 / variance;
      product *= variance;
    }
    factorise(lr, li, size);
    for (let a = 0; a < size; a++) {
      let re = xr[a], im = xi[a];
      for (let b = 0; b < a; b++) { const r = lr[a * size + b], i = li[a * size + b]; re -= r * xr[b] - i * xi[b]; im -= r * xi[b] + i * xr[b]; }
      const d = lr[a * size + a];
      xr[a] = re / d; xi[a] = im / d;
      explained += xr[a] * xr[a] + xi[a] * xi[a];
      product *= d * d;
      // One logarithm for many factors.
      if (product < 1e-200 || product > 1e200) { logDet += ln(product); product = 1; }
    }
  }
  return explained - logDet - ln(product);
}
