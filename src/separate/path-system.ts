import { createPlanes } from './planes.js';
import type { Planes } from './planes.js';

/** A reference of a path: spectra that arrive `delay` frames later (negative: earlier). */
export interface Tap { planes: Planes; delay: number }

/**
 * Normal equations of a linear path per bin: gram[a][b] = sum over frames of w conj(Z_a) Z_b for a >= b, right[a] = sum of w conj(Z_a) Y.
 * Row (a, b) of the lower triangle has index a (a + 1) / 2 + b; every row holds one value per bin.
 */
export interface PathSystem { size: number; binCount: number; gramRe: Float64Array; gramIm: Float64Array; rightRe: Float64Array; rightIm: Float64Array }

export function createPathSystem(size: number, binCount: number): PathSystem {
  const rows = ((size * (size + 1)) / 2) * binCount;
  return {
    size, binCount, gramRe: new Float64Array(rows), gramIm: new Float64Array(rows),
    rightRe: new Float64Array(size * binCount), rightIm: new Float64Array(size * binCount),
  };
}

/** Taps of one reference track, from `lead` frames ahead on. */
export function listTaps(planes: Planes, tapCount: number, lead: number): Tap[] {
  return Array.from({ length: tapCount }, (_, l) => ({ planes, delay: l - lead }));
}

/**
 * Adds observations of all frames: `observed` is explained by the taps with the inverse variances `weight`, [frame][bin].
 */
export function addObservations(system: PathSystem, taps: readonly Tap[], weight: Float32Array, observed: Planes): void {
  const { binCount } = system;
  for (let a = 0; a < taps.length; a++) {
    addProducts(taps[a], { planes: observed, delay: 0 }, weight, system.rightRe, system.rightIm, a * binCount, binCount);
    for (let b = 0; b <= a; b++) addProducts(taps[a], taps[b], weight, system.gramRe, system.gramIm, ((a * (a + 1)) / 2 + b) * binCount, binCount);
  }
}

/** out[bin] += sum over frames of w conj(A) B. */
function addProducts(a: Tap, b: Tap, weight: Float32Array, outRe: Float64Array, outIm: Float64Array, at: number, binCount: number): void {
  const frames = a.planes.frameCount;
  const from = Math.max(0, a.delay, b.delay);
  const to = Math.min(frames, frames + a.delay, frames + b.delay);
  const ar = a.planes.re, ai = a.planes.im, br = b.planes.re, bi = b.planes.im;
  for (let k = from; k < to; k++) {
    let p = (k - a.delay) * binCount, q = (k - b.delay) * binCount, w = k * binCount;
    for (let o = at, end = at + binCount; o < end; o++, p++, q++, w++) {
      const g = weight[w], xr = g * ar[p], xi = g * ai[p], yr = br[q], yi = bi[q];
      outRe[o] += xr * yr + xi * yi;
      outIm[o] += xr * yi - xi * yr;
    }
  }
}

/** Adds a smaller system to the block that begins at row and column `at`. */
export function addSystem(into: PathSystem, part: PathSystem, at: number): void {
  const { binCount } = into;
  const add = (target: Float64Array, to: number, source: Float64Array, from: number): void => {
    for (let k = 0; k < binCount; k++) target[to + k] += source[from + k];
  };
  for (let a = 0; a < part.size; a++) {
    add(into.rightRe, (at + a) * binCount, part.rightRe, a * binCount);
    add(into.rightIm, (at + a) * binCount, part.rightIm, a * binCount);
    for (let b = 0; b <= a; b++) {
      const to = (((at + a) * (at + a + 1)) / 2 + at + b) * binCount, from = ((a * (a + 1)) / 2 + b) * binCount;
      add(into.gramRe, to, part.gramRe, from);
      add(into.gramIm, to, part.gramIm, from);
    }
  }
}

/** Posterior of a path: its mean per tap and bin, and the inverse of the Cholesky factor of its precision (lower triangle). */
export interface PathSolution { size: number; binCount: number; meanRe: Float64Array; meanIm: Float64Array; factorRe: Float64Array; factorIm: Float64Array }

/**
 * Solves every bin of the system with a Gaussian prior of mean 0 and the variances `priorVariance`, [tap][bin]
 * (regularised least squares; Golub & Van Loan, Matrix Computations, 4.2).
 */
export function solvePaths(system: PathSystem, priorVariance: Float64Array): PathSolution {
  const { size, binCount } = system;
  const out: PathSolution = {
    size, binCount, meanRe: new Float64Array(size * binCount), meanIm: new Float64Array(size * binCount),
    factorRe: new Float64Array(system.gramRe.length), factorIm: new Float64Array(system.gramRe.length),
  };
  const lr = new Float64Array(size * size), li = new Float64Array(size * size), xr = new Float64Array(size), xi = new Float64Array(size);
  for (let bin = 0; bin < binCount; bin++) {
    for (let a = 0, row = bin; a < size; a++) {
      for (let b = 0; b <= a; b++, row += binCount) { lr[a * size + b] = system.gramRe[row]; li[a * size + b] = system.gramIm[row]; }
      lr[a * size + a] += 1 / priorVariance[a * binCount + bin];
      xr[a] = system.rightRe[a * binCount + bin]; xi[a] = system.rightIm[a * binCount + bin];
    }
    factorise(lr, li, size);
    substitute(lr, li, size, xr, xi);
    invertLower(lr, li, size);
    for (let a = 0, row = bin; a < size; a++) {
      out.meanRe[a * binCount + bin] = xr[a]; out.meanIm[a * binCount + bin] = xi[a];
      for (let b = 0; b <= a; b++, row += binCount) { out.factorRe[row] = lr[a * size + b]; out.factorIm[row] = li[a * size + b]; }
    }
  }
  return out;
}

/** The prior alone: no path known. */
export function solveUnknown(priorVariance: Float64Array, size: number, binCount: number): PathSolution {
  return solvePaths(createPathSystem(size, binCount), priorVariance);
}

/** Hermitian Cholesky in place: M = L L^H, lower triangle; the diagonal is real. */
function factorise(lr: Float64Array, li: Float64Array, n: number): void {
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

/** Sum over taps of H Z, and z^T cov conj(z) = |L^-1 conj(z)|^2. */
export function predictCrosstalk(solution: PathSolution, taps: readonly Tap[], frameCount: number): Prediction {
  const { size, binCount } = solution;
  const crosstalk = createPlanes(frameCount, binCount);
  const variance = new Float32Array(frameCount * binCount);
  const sumRe = new Float64Array(binCount), sumIm = new Float64Array(binCount);
  for (let k = 0; k < frameCount; k++) {
    const at = k * binCount;
    for (let a = 0; a < size; a++) {
      const source = k - taps[a].delay;
      if (source >= 0 && source < frameCount) {
        const { re, im } = taps[a].planes;
        for (let f = 0, p = source * binCount, h = a * binCount; f < binCount; f++, p++, h++) {
          crosstalk.re[at + f] += solution.meanRe[h] * re[p] - solution.meanIm[h] * im[p];
          crosstalk.im[at + f] += solution.meanRe[h] * im[p] + solution.meanIm[h] * re[p];
        }
      }
      sumRe.fill(0); sumIm.fill(0);
      for (let b = 0; b <= a; b++) {
        const from = k - taps[b].delay;
        if (from < 0 || from >= frameCount) continue;
        const { re, im } = taps[b].planes;
        for (let f = 0, p = from * binCount, w = ((a * (a + 1)) / 2 + b) * binCount; f < binCount; f++, p++, w++) {
          sumRe[f] += solution.factorRe[w] * re[p] + solution.factorIm[w] * im[p];
          sumIm[f] += solution.factorIm[w] * re[p] - solution.factorRe[w] * im[p];
        }
      }
      for (let f = 0; f < binCount; f++) variance[at + f] += sumRe[f] * sumRe[f] + sumIm[f] * sumIm[f];
    }
  }
  return { crosstalk, variance };
}
