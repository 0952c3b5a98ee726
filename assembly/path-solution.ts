/**
 * Posterior of linear paths per bin by Cholesky's factorisation, in double precision, two bins at a time.
 *
 * Formula: M = G + diag(1 / v) = L L^H; solvePathBins: mean = M^-1 r and factor = L^-1; weighPathBins: explained = |L^-1 r|^2 and
 * det = product over a of L_aa^2 v_a.
 *   systemPtr    read    rows a (a + 3) / 2 + b, 0 <= b <= a < size, of G, b = a + 1 of r; a row is re [width] then im [width], f32
 *   priorPtr     read    f64 [size][width], the variances v, above 0
 *   scratchPtr   written 32 size (size + 1) bytes
 *   meanPtr      written rows by a of the same form; factorPtr rows a (a + 1) / 2 + b
 * weighPathBins takes the sum of two systems (otherPtr; 0 for none) in the bins first, first + step .. below end, n-th of them to
 *   explainedPtr, detPtr        written f64[count rounded up to even]
 * width is even; alignment 16 (rows of f32 8); nothing may overlap. A NaN spoils its own bin only; det beyond 1e308 is infinity. A pivot that
 * rounding makes 0 or negative counts as 1e-300.
 * Source: Golub & Van Loan, Matrix Computations, 4.2. Plain reference: test/reference/path-system.ts.
 */

export function solvePathBins(systemPtr: usize, priorPtr: usize, size: i32, width: i32, scratchPtr: usize, meanPtr: usize, factorPtr: usize): void {
  const rowBytes = <usize>width << 2, x = scratchPtr + <usize>(size * size) * 32;
  for (let at: usize = 0; at < rowBytes; at += 8) {
    factorise(systemPtr + at, 0, priorPtr + 2 * at, size, rowBytes, 4, scratchPtr);
    substituteBack(scratchPtr, size, x);
    invertLower(scratchPtr, size);
    let factor = factorPtr + at, mean = meanPtr + at;
    for (let a = 0; a < size; a++) {
      storePair(mean, v128.load(x + <usize>a * 32)); storePair(mean + rowBytes, v128.load(x + <usize>a * 32, 16));
      mean += 2 * rowBytes;
      for (let b = 0; b <= a; b++) {
        const l = scratchPtr + <usize>(a * size + b) * 32;
        storePair(factor, v128.load(l)); storePair(factor + rowBytes, v128.load(l, 16));
        factor += 2 * rowBytes;
      }
    }
  }
}

export function weighPathBins(
  systemPtr: usize, otherPtr: usize, priorPtr: usize, size: i32, width: i32, first: i32, end: i32, step: i32, scratchPtr: usize, explainedPtr: usize, detPtr: usize,
): void {
  const rowBytes = <usize>width << 2, x = scratchPtr + <usize>(size * size) * 32;
  let out: usize = 0;
  for (let bin = first; bin < end; bin += 2 * step, out += 16) {
    // The last pair may hold one bin twice.
    const at = <usize>bin << 2, apart = bin + step < end ? <usize>step << 2 : 0;
    factorise(systemPtr + at, otherPtr ? otherPtr + at : 0, priorPtr + 2 * at, size, rowBytes, apart, scratchPtr);
    let explained = f64x2.splat(0), det = f64x2.splat(1);
    for (let a = 0; a < size; a++) {
      const re = v128.load(x + <usize>a * 32), im = v128.load(x + <usize>a * 32, 16), d = v128.load(scratchPtr + <usize>(a * size + a) * 32);
      explained = f64x2.add(explained, f64x2.add(f64x2.mul(re, re), f64x2.mul(im, im)));
      det = f64x2.mul(det, f64x2.mul(f64x2.mul(d, d), loadVariances(priorPtr + 2 * at + <usize>a * 2 * rowBytes, apart)));
    }
    v128.store(explainedPtr + out, explained);
    v128.store(detPtr + out, det);
  }
}

/** Two bins that lie `apart` bytes from each other, of one system or the sum of two. */
// @ts-ignore: decorator
@inline
function loadPair(p: usize, other: usize, apart: usize): v128 {
  let v = v128.load32_lane(p + apart, v128.load32_zero(p), 1);
  if (other) v = f32x4.add(v, v128.load32_lane(other + apart, v128.load32_zero(other), 1));
  return f64x2.promote_low_f32x4(v);
}

// @ts-ignore: decorator
@inline
function loadVariances(p: usize, apart: usize): v128 { return v128.load64_lane(p + 2 * apart, v128.load64_zero(p), 1); }

// @ts-ignore: decorator
@inline
function storePair(p: usize, v: v128): void { v128.store64_lane(p, f32x4.demote_f64x2_zero(v), 0); }

/** Writes L to scratch, [a][b] of re and im pairs, and behind it x = L^-1 r. */
function factorise(system: usize, other: usize, prior: usize, size: i32, rowBytes: usize, apart: usize, scratch: usize): void {
  const one = f64x2.splat(1), least = f64x2.splat(1e-300), x = scratch + <usize>(size * size) * 32, isSum = other != 0, pairBytes = rowBytes << 1;
  for (let i = 0; i < size; i++) {
    const row = scratch + <usize>(i * size) * 32;
    for (let j = 0; j <= i; j++) {
      const column = scratch + <usize>(j * size) * 32;
      let sr = loadPair(system, other, apart), si = loadPair(system + rowBytes, isSum ? other + rowBytes : 0, apart);
      system += pairBytes;
      if (isSum) other += pairBytes;
      if (i == j) sr = f64x2.add(sr, f64x2.div(one, loadVariances(prior + <usize>i * pairBytes, apart)));
      for (let k: usize = 0; k < <usize>j * 32; k += 32) {
        const ar = v128.load(row + k), ai = v128.load(row + k, 16), br = v128.load(column + k), bi = v128.load(column + k, 16);
        sr = f64x2.sub(sr, f64x2.add(f64x2.mul(ar, br), f64x2.mul(ai, bi)));
        si = f64x2.sub(si, f64x2.sub(f64x2.mul(ai, br), f64x2.mul(ar, bi)));
      }
      if (i == j) {
        v128.store(row + <usize>j * 32, f64x2.sqrt(f64x2.max(sr, least)));
        v128.store(row + <usize>j * 32, f64x2.splat(0), 16);
      } else {
        const d = v128.load(column + <usize>j * 32);
        v128.store(row + <usize>j * 32, f64x2.div(sr, d));
        v128.store(row + <usize>j * 32, f64x2.div(si, d), 16);
      }
    }
    let sr = loadPair(system, other, apart), si = loadPair(system + rowBytes, isSum ? other + rowBytes : 0, apart);
    system += pairBytes;
    if (isSum) other += pairBytes;
    for (let k: usize = 0; k < <usize>i * 32; k += 32) {
      const lr = v128.load(row + k), li = v128.load(row + k, 16), xr = v128.load(x + k), xi = v128.load(x + k, 16);
      sr = f64x2.sub(sr, f64x2.sub(f64x2.mul(lr, xr), f64x2.mul(li, xi)));
      si = f64x2.sub(si, f64x2.add(f64x2.mul(lr, xi), f64x2.mul(li, xr)));
    }
    const d = v128.load(row + <usize>i * 32);
    v128.store(x + <usize>i * 32, f64x2.div(sr, d));
    v128.store(x + <usize>i * 32, f64x2.div(si, d), 16);
  }
}

/** x = L^-H x. */
function substituteBack(l: usize, size: i32, x: usize): void {
  for (let i = size - 1; i >= 0; i--) {
    const at = x + <usize>i * 32;
    let sr = v128.load(at), si = v128.load(at, 16);
    for (let k = i + 1; k < size; k++) {
      const p = l + <usize>(k * size + i) * 32, lr = v128.load(p), li = v128.load(p, 16), xr = v128.load(x + <usize>k * 32), xi = v128.load(x + <usize>k * 32, 16);
      sr = f64x2.sub(sr, f64x2.add(f64x2.mul(lr, xr), f64x2.mul(li, xi)));
      si = f64x2.sub(si, f64x2.sub(f64x2.mul(lr, xi), f64x2.mul(li, xr)));
    }
    const d = v128.load(l + <usize>(i * size + i) * 32);
    v128.store(at, f64x2.div(sr, d));
    v128.store(at, f64x2.div(si, d), 16);
  }
}

/** L^-1 in place. */
function invertLower(l: usize, size: i32): void {
  const one = f64x2.splat(1);
  for (let j = 0; j < size; j++) {
    const diagonal = l + <usize>(j * size + j) * 32;
    v128.store(diagonal, f64x2.div(one, v128.load(diagonal)));
    for (let i = j + 1; i < size; i++) {
      let sr = f64x2.splat(0), si = sr;
      for (let k = j; k < i; k++) {
        const p = l + <usize>(i * size + k) * 32, q = l + <usize>(k * size + j) * 32;
        const ar = v128.load(p), ai = v128.load(p, 16), br = v128.load(q), bi = v128.load(q, 16);
        sr = f64x2.sub(sr, f64x2.sub(f64x2.mul(ar, br), f64x2.mul(ai, bi)));
        si = f64x2.sub(si, f64x2.add(f64x2.mul(ar, bi), f64x2.mul(ai, br)));
      }
      const at = l + <usize>(i * size + j) * 32, d = v128.load(l + <usize>(i * size + i) * 32);
      v128.store(at, f64x2.div(sr, d));
      v128.store(at, f64x2.div(si, d), 16);
    }
  }
}
