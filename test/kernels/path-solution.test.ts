import { beforeAll, describe, expect, it } from 'vitest';
import type { Kernels } from '../../src/kernels/kernels.js';
import { createRows, solveSystem, weighSystems } from '../../src/kernels/paths.js';
import type { SystemRows } from '../../src/kernels/paths.js';
import { solveDense } from '../reference/path-system.js';
import type { Complex } from '../reference/path-system.js';
import { makeNoise, openKernels } from './support.js';

const EXTRA = 3;
let k: Kernels;
beforeAll(async () => { k = await openKernels(8 << 20); });

/** Gram and right side of random vectors, positive definite with the prior; as rows and as matrices per bin. */
function makeSystem(size: number, binCount: number, seed: number): { system: SystemRows; prior: Float64Array; dense(bin: number): Complex[][]; right(bin: number): Complex[] } {
  const triangle = (size * (size + 1)) / 2, system = { size, binCount, gram: createRows(triangle, binCount), right: createRows(size, binCount) };
  const noise = makeNoise(2 * binCount * (size + EXTRA) * (size + 1), seed), prior = Float64Array.from(makeNoise(size * binCount, seed + 1), (v) => 0.6 + v);
  for (let b = 0, n = 0; b < binCount; b++) {
    for (let o = 0; o < size + EXTRA; o++) {
      const z = Array.from({ length: size + 1 }, () => ({ re: 4 * noise[n++], im: 4 * noise[n++] }));
      for (let a = 0; a < size; a++) {
        for (let c = 0; c <= a; c++) { const at = ((a * (a + 1)) / 2 + c) * binCount + b; system.gram.re[at] += z[a].re * z[c].re + z[a].im * z[c].im; system.gram.im[at] += z[a].re * z[c].im - z[a].im * z[c].re; }
        system.right.re[a * binCount + b] += z[a].re * z[size].re + z[a].im * z[size].im; system.right.im[a * binCount + b] += z[a].re * z[size].im - z[a].im * z[size].re;
      }
    }
  }
  const dense = (bin: number): Complex[][] => Array.from({ length: size }, (_, a) => Array.from({ length: size }, (_u, c) => {
    const hi = Math.max(a, c), lo = Math.min(a, c), at = ((hi * (hi + 1)) / 2 + lo) * binCount + bin;
    return { re: system.gram.re[at] + (a === c ? 1 / prior[a * binCount + bin] : 0), im: a >= c ? (a === c ? 0 : system.gram.im[at]) : -system.gram.im[at] };
  }));
  return { system, prior, dense, right: (bin) => Array.from({ length: size }, (_, a) => ({ re: system.right.re[a * binCount + bin], im: system.right.im[a * binCount + bin] })) };
}

/** Determinant of a Hermitian matrix by elimination without pivots, real. */
function findDet(matrix: Complex[][]): number {
  const m = matrix.map((row) => row.map((v) => ({ ...v })));
  let det = 1;
  for (let c = 0; c < m.length; c++) {
    det *= m[c][c].re;
    for (let r = c + 1; r < m.length; r++) {
      const f = { re: m[r][c].re / m[c][c].re, im: m[r][c].im / m[c][c].re };
      for (let j = c; j < m.length; j++) { const p = m[c][j]; m[r][j] = { re: m[r][j].re - f.re * p.re + f.im * p.im, im: m[r][j].im - f.re * p.im - f.im * p.re }; }
    }
  }
  return det;
}

describe('posterior of paths per bin', () => {
  it.each([[1, 1], [1, 67], [2, 2], [3, 5], [5, 13], [12, 66], [24, 3]])('solves %i taps in %i bins as plain elimination does', (size, bins) => {
    const { system, prior, dense, right } = makeSystem(size, bins, 100 * size + bins), { mean, factor } = solveSystem(k, system, prior, [0, bins]), { explained, det } = weighSystems(k, [system], prior, [0, bins], 1);
    for (let b = 0; b < bins; b++) {
      const m = dense(b), r = right(b), x = solveDense(m, r);
      x.forEach((v, a) => { expect(mean.re[a * bins + b]).toBeCloseTo(v.re, 5); expect(mean.im[a * bins + b]).toBeCloseTo(v.im, 5); });
      // Column c of M^-1 = F^H F.
      for (const c of new Set([0, size - 1])) {
        const column = solveDense(m, r.map((_, a) => ({ re: a === c ? 1 : 0, im: 0 })));
        for (let a = 0; a < size; a++) {
          let re = 0, im = 0;
          for (let i = Math.max(a, c); i < size; i++) {
            const p = ((i * (i + 1)) / 2 + a) * bins + b, q = ((i * (i + 1)) / 2 + c) * bins + b;
            re += factor.re[p] * factor.re[q] + factor.im[p] * factor.im[q]; im += factor.re[p] * factor.im[q] - factor.im[p] * factor.re[q];
          }
          expect(re).toBeCloseTo(column[a].re, 5);
          expect(im).toBeCloseTo(column[a].im, 5);
        }
      }
      // Doubles throughout: only the order of the sums differs.
      const power = r.reduce((s, v, a) => s + v.re * x[a].re + v.im * x[a].im, 0), scaled = prior.reduce((p, v, i) => (i % bins === b ? p * v : p), findDet(m));
      expect(explained[b] / power).toBeCloseTo(1, 9);
      expect(det[b] / scaled).toBeCloseTo(1, 9);
    }
  });

  it('writes its outputs only', () => {
    const size = 3, bins = 6, rows = 6, mark = k.mark(), GUARD = 4;
    const gram = k.allocF32(2 * rows * bins), right = k.allocF32(2 * size * bins), prior = k.alloc(8 * size * bins), scratch = k.alloc(32 * size * (size + 1));
    k.f32(gram, 2 * rows * bins).fill(0); k.f32(right, 2 * size * bins).fill(0); k.f64(prior, size * bins).fill(2);
    const out = [2 * size * bins, 2 * rows * bins].map((n) => { const p = k.allocF32(n + 2 * GUARD); k.f32(p, n + 2 * GUARD).fill(-12345.5); return { p, n }; });
    k.fn.solvePathBins(gram, right, prior, size, bins, scratch, out[0].p + 4 * GUARD, out[1].p + 4 * GUARD);
    for (const { p, n } of out) {
      const all = [...k.f32(p, n + 2 * GUARD)];
      expect([...all.slice(0, GUARD), ...all.slice(n + GUARD)].every((v) => v === -12345.5)).toBe(true);
      expect(all.slice(GUARD, n + GUARD).some((v) => v === -12345.5)).toBe(false);
    }
    // Nothing observed: the prior stands, mean 0 and factor the square root of its variances.
    expect(k.f32(out[0].p + 4 * GUARD, out[0].n).every((v) => v === 0)).toBe(true);
    expect(k.f32(out[1].p + 4 * GUARD, 1)[0]).toBe(Math.fround(Math.SQRT2));
    k.release(mark);
  });

  it('keeps a NaN in its own bin, takes denormals and huge values, and gives the memory back', () => {
    const free = k.freeBytes(), { system, prior } = makeSystem(4, 9, 77), clean = solveSystem(k, system, prior, [0, 9]);
    system.gram.re[2 * 9 + 5] = NaN;
    const spoilt = solveSystem(k, system, prior, [0, 9]);
    for (let a = 1; a < 4; a++) for (let b = 0; b < 9; b++) { if (b === 5) expect(spoilt.mean.re[a * 9 + b]).toBeNaN(); else expect(spoilt.mean.re[a * 9 + b]).toBe(clean.mean.re[a * 9 + b]); }
    for (const scale of [1e-42, 1e30]) {
      const one: SystemRows = { size: 1, binCount: 3, gram: createRows(1, 3), right: createRows(1, 3) };
      one.gram.re.fill(scale); one.right.re.fill(scale);
      const g = one.gram.re[0];
      solveSystem(k, one, new Float64Array(3).fill(1), [0, 3]).mean.re.forEach((v) => expect(v).toBe(Math.fround(g / Math.sqrt(g + 1) / Math.sqrt(g + 1))));
    }
    expect(k.freeBytes()).toBe(free);
  });

  it('weighs the sum of systems in every third bin of a range, and nothing where the range is empty', () => {
    const a = makeSystem(3, 20, 5), b = makeSystem(3, 20, 6).system, part = weighSystems(k, [a.system, b], a.prior, [4, 15], 3);
    expect(part.det).toHaveLength(4);
    const sum: SystemRows = { ...a.system, gram: { re: a.system.gram.re.map((v, i) => v + b.gram.re[i]), im: a.system.gram.im.map((v, i) => v + b.gram.im[i]) }, right: { re: a.system.right.re.map((v, i) => v + b.right.re[i]), im: a.system.right.im.map((v, i) => v + b.right.im[i]) } };
    const whole = weighSystems(k, [sum], a.prior, [0, 20], 1);
    [4, 7, 10, 13].forEach((bin, n) => { expect(part.explained[n]).toBe(whole.explained[bin]); expect(part.det[n]).toBe(whole.det[bin]); });
    expect(weighSystems(k, [b], a.prior, [7, 7], 3).det).toHaveLength(0);
  });
});
