/** Solves the symmetric positive definite system A x = b (n x n, row-major) by Cholesky; A and b are overwritten. */
export function solveCholesky(a: Float64Array, b: Float64Array): Float64Array {
  const n = b.length;
  for (let j = 0; j < n; j++) {
    let d = a[j * n + j];
    for (let k = 0; k < j; k++) d -= a[j * n + k] ** 2;
    const root = Math.sqrt(Math.max(d, 1e-12));
    a[j * n + j] = root;
    for (let i = j + 1; i < n; i++) {
      let s = a[i * n + j];
      for (let k = 0; k < j; k++) s -= a[i * n + k] * a[j * n + k];
      a[i * n + j] = s / root;
    }
  }
  for (let i = 0; i < n; i++) {
    let s = b[i];
    for (let k = 0; k < i; k++) s -= a[i * n + k] * b[k];
    b[i] = s / a[i * n + i];
  }
  for (let i = n - 1; i >= 0; i--) {
    let s = b[i];
    for (let k = i + 1; k < n; k++) s -= a[k * n + i] * b[k];
    b[i] = s / a[i * n + i];
  }
  return b;
}

/** One observation of a sparse linear model: value = sum over terms of coefficient * unknown. */
export interface Observation {
  unknowns: number[];
  coefficients: number[];
  value: number;
  weight: number;
}

/**
 * Robust linear least squares: iteratively reweighted with Tukey's biweight (c = 4.685 scales; Huber 1981 for the method), started from
 * Huber weights, with Gaussian priors on the unknowns.
 * @param prior per unknown [mean, standard deviation in units of the observations]
 */
export function solveRobust(observations: readonly Observation[], prior: readonly [number, number][], leastScale: number, rounds = 12): { x: Float64Array; scale: number } {
  const n = prior.length;
  let x = Float64Array.from(prior, (p) => p[0]);
  let scale = Infinity;
  const residuals = new Float64Array(observations.length);
  for (let round = 0; round < rounds; round++) {
    const a = new Float64Array(n * n);
    const b = new Float64Array(n);
    const unit = Number.isFinite(scale) ? scale : 1;
    for (let k = 0; k < n; k++) {
      const w = (unit / prior[k][1]) ** 2;
      a[k * n + k] += w;
      b[k] += w * prior[k][0];
    }
    observations.forEach((o, m) => {
      const w = o.weight * robustWeight(residuals[m], scale, round);
      for (let p = 0; p < o.unknowns.length; p++) {
        for (let q = 0; q < o.unknowns.length; q++) a[o.unknowns[p] * n + o.unknowns[q]] += w * o.coefficients[p] * o.coefficients[q];
        b[o.unknowns[p]] += w * o.coefficients[p] * o.value;
      }
    });
    x = solveCholesky(a, b) as Float64Array<ArrayBuffer>;
    observations.forEach((o, m) => {
      let r = o.value;
      for (let p = 0; p < o.unknowns.length; p++) r -= o.coefficients[p] * x[o.unknowns[p]];
      residuals[m] = r;
    });
    scale = Math.max(leastScale, 1.4826 * medianOf(residuals.map(Math.abs)));
  }
  return { x, scale };
}

function robustWeight(residual: number, scale: number, round: number): number {
  if (!Number.isFinite(scale)) return 1;
  const u = Math.abs(residual) / scale;
  if (round < 5) return u <= 1.345 ? 1 : 1.345 / u;
  return u >= 4.685 ? 0 : (1 - (u / 4.685) ** 2) ** 2;
}

/** Median (lower middle for even lengths averaged); 0 for an empty list. */
export function medianOf(values: ArrayLike<number>): number {
  if (values.length === 0) return 0;
  const v = Float64Array.from(values).sort();
  const h = v.length >> 1;
  return v.length % 2 ? v[h] : (v[h - 1] + v[h]) / 2;
}
