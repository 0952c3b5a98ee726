import { ln } from '../numeric/elementary.js';

/**
 * Normal equations of a long chain of unknowns (each tied only to its neighbours) plus a few unknowns that are tied to all of them:
 * [A B; B' C] [x; y] = [b; c], A symmetric positive definite and banded. Memory and time grow linearly with the chain.
 */
export class BandedSystem {
  /** Lower band of A: band[i * (width + 1) + d] = A[i][i - d]. */
  readonly band: Float64Array;
  readonly border: Float64Array;
  readonly corner: Float64Array;
  readonly right: Float64Array;

  constructor(readonly chain: number, readonly width: number, readonly extra: number) {
    this.band = new Float64Array(chain * (width + 1));
    this.border = new Float64Array(chain * extra);
    this.corner = new Float64Array(extra * extra);
    this.right = new Float64Array(chain + extra);
  }

  /** Adds to an entry of the symmetric matrix and its mirror image; each unordered pair of unknowns is added once. */
  add(p: number, q: number, value: number): void {
    const i = Math.max(p, q);
    const j = Math.min(p, q);
    const { chain, width, extra } = this;
    if (i < chain) this.band[i * (width + 1) + i - j] += value;
    else if (j < chain) this.border[j * extra + i - chain] += value;
    else {
      this.corner[(i - chain) * extra + j - chain] += value;
      if (i !== j) this.corner[(j - chain) * extra + i - chain] += value;
    }
  }

  /** Solves the system; the stored matrix is overwritten. */
  solve(): BandedSolution {
    const { chain, width, extra } = this;
    factorBand(this.band, chain, width);
    // W = inverse(L) B, z = inverse(L) b.
    const z = this.right.slice(0, chain);
    solveLower(this.band, chain, width, z, 1);
    const w = this.border;
    solveLower(this.band, chain, width, w, extra);
    const s = this.corner.slice();
    const c = this.right.slice(chain);
    for (let k = 0; k < chain; k++) {
      for (let p = 0; p < extra; p++) {
        const v = w[k * extra + p];
        if (v === 0) continue;
        c[p] -= v * z[k];
        for (let q = 0; q < extra; q++) s[p * extra + q] -= v * w[k * extra + q];
      }
    }
    const root = factorDense(s, extra);
    const y = solveDense(root, extra, c);
    const x = z.slice();
    for (let k = 0; k < chain; k++) for (let p = 0; p < extra; p++) x[k] -= w[k * extra + p] * y[p];
    solveUpper(this.band, chain, width, x, 1);
    let logDet = 0;
    for (let k = 0; k < chain; k++) logDet += 2 * ln(this.band[k * (width + 1)]);
    for (let p = 0; p < extra; p++) logDet += 2 * ln(root[p * extra + p]);
    const unknowns = new Float64Array(chain + extra);
    unknowns.set(x);
    unknowns.set(y, chain);
    return { unknowns, logDet, variances: () => findVariances(this.band, chain, width, w, extra, root) };
  }
}

export interface BandedSolution {
  /** Chain first, then the extra unknowns. */
  unknowns: Float64Array;
  /** Logarithm of the determinant of the whole matrix. */
  logDet: number;
  /** Diagonal of the inverse matrix, in the order of the unknowns. */
  variances: () => Float64Array;
}

/** Cholesky factor of a banded matrix, in place. */
function factorBand(a: Float64Array, n: number, width: number): void {
  const m = width + 1;
  for (let i = 0; i < n; i++) {
    for (let d = Math.min(width, i); d >= 0; d--) {
      const j = i - d;
      let s = a[i * m + d];
      for (let k = Math.max(0, i - width, j - width); k < j; k++) s -= a[i * m + i - k] * a[j * m + j - k];
      a[i * m + d] = d === 0 ? Math.sqrt(Math.max(s, 1e-300)) : s / a[j * m];
    }
  }
}

/** Solves L X = V in place; V has `columns` values per row. */
function solveLower(l: Float64Array, n: number, width: number, v: Float64Array, columns: number): void {
  const m = width + 1;
  for (let i = 0; i < n; i++) {
    for (let k = Math.max(0, i - width); k < i; k++) {
      const f = l[i * m + i - k];
      if (f !== 0) for (let c = 0; c < columns; c++) v[i * columns + c] -= f * v[k * columns + c];
    }
    for (let c = 0; c < columns; c++) v[i * columns + c] /= l[i * m];
  }
}

/** Solves L' X = V in place. */
function solveUpper(l: Float64Array, n: number, width: number, v: Float64Array, columns: number): void {
  const m = width + 1;
  for (let i = n - 1; i >= 0; i--) {
    for (let k = i + 1; k <= Math.min(n - 1, i + width); k++) {
      const f = l[k * m + k - i];
      if (f !== 0) for (let c = 0; c < columns; c++) v[i * columns + c] -= f * v[k * columns + c];
    }
    for (let c = 0; c < columns; c++) v[i * columns + c] /= l[i * m];
  }
}

function factorDense(a: Float64Array, n: number): Float64Array {
  for (let j = 0; j < n; j++) {
    for (let i = j; i < n; i++) {
      let s = a[i * n + j];
      for (let k = 0; k < j; k++) s -= a[i * n + k] * a[j * n + k];
      a[i * n + j] = i === j ? Math.sqrt(Math.max(s, 1e-300)) : s / a[j * n + j];
    }
  }
  return a;
}

function solveDense(l: Float64Array, n: number, b: Float64Array): Float64Array {
  const x = b.slice();
  for (let i = 0; i < n; i++) {
    for (let k = 0; k < i; k++) x[i] -= l[i * n + k] * x[k];
    x[i] /= l[i * n + i];
  }
  for (let i = n - 1; i >= 0; i--) {
    for (let k = i + 1; k < n; k++) x[i] -= l[k * n + i] * x[k];
    x[i] /= l[i * n + i];
  }
  return x;
}

/**
 * Diagonal of the inverse: the entries of inverse(A) inside the band by the recursion of Takahashi, Fagan and Chen (1973), plus what the
 * extra unknowns add.
 */
function findVariances(l: Float64Array, n: number, width: number, w: Float64Array, extra: number, root: Float64Array): Float64Array {
  const m = width + 1;
  const z = new Float64Array(n * m);
  const inside = (i: number, j: number): number => (i >= j ? z[i * m + i - j] : z[j * m + j - i]);
  for (let j = n - 1; j >= 0; j--) {
    const last = Math.min(n - 1, j + width);
    const pivot = l[j * m];
    for (let i = last; i >= j; i--) {
      let s = i === j ? 1 / pivot : 0;
      for (let k = j + 1; k <= last; k++) s -= l[k * m + k - j] * inside(i, k);
      z[i * m + i - j] = s / pivot;
    }
  }
  const out = new Float64Array(n + extra);
  for (let i = 0; i < n; i++) out[i] = z[i * m];
  if (extra === 0) return out;
  // V = inverse(A) B; the Schur complement's inverse spreads through it.
  const v = w.slice();
  solveUpper(l, n, width, v, extra);
  const column = new Float64Array(extra);
  const inverse = new Float64Array(extra * extra);
  for (let p = 0; p < extra; p++) {
    column.fill(0);
    column[p] = 1;
    inverse.set(solveDense(root, extra, column), p * extra);
    out[n + p] = inverse[p * extra + p];
  }
  for (let i = 0; i < n; i++) {
    for (let p = 0; p < extra; p++) for (let q = 0; q < extra; q++) out[i] += v[i * extra + p] * inverse[p * extra + q] * v[i * extra + q];
  }
  return out;
}
