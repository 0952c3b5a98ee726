import { beforeAll, describe, expect, it } from 'vitest';
import type { Kernels } from '../../src/kernels/kernels.js';
import { countSystemValues, weighSystems } from '../../src/kernels/paths.js';
import { PlaneSpace } from '../../src/kernels/plane-space.js';
import { solveDense } from '../reference/path-system.js';
import type { Complex } from '../reference/path-system.js';
import { makeNoise, openKernels } from './support.js';

const EXTRA = 3;
let k: Kernels;
beforeAll(async () => { k = await openKernels(16 << 20); });

/** A system in the kernels' memory and in plain numbers: normal equations of random vectors, positive definite with the prior. */
interface Case { space: PlaneSpace; size: number; system: number; prior: number; dense(bin: number): Complex[][]; right(bin: number): Complex[]; variances(bin: number): number[]; write(row: number, bin: number, re: number): void }

function makeSystem(size: number, bins: number, seed: number): Case {
  const space = new PlaneSpace(k, bins), { width } = space, count = countSystemValues(size, width), system = k.allocF32(count), rows = k.f32(system, count).fill(0), prior = k.alloc(8 * size * width), priors = k.f64(prior, size * width).fill(1);
  const noise = makeNoise(2 * bins * (size + EXTRA) * (size + 1), seed), at = (a: number, b: number, bin: number): number => 2 * width * ((a * (a + 3)) / 2 + b) + bin;
  makeNoise(size * bins, seed + 1).forEach((v, i) => { priors[Math.floor(i / bins) * width + (i % bins)] = 0.6 + v; });
  for (let b = 0, n = 0; b < bins; b++) {
    for (let o = 0; o < size + EXTRA; o++) {
      const z = Array.from({ length: size + 1 }, () => ({ re: 4 * noise[n++], im: 4 * noise[n++] }));
      // Column a + 1 of row a is the right side.
      for (let a = 0; a < size; a++) for (let c = 0; c <= a + 1; c++) { const v = c > a ? z[size] : z[c]; rows[at(a, c, b)] += z[a].re * v.re + z[a].im * v.im; rows[at(a, c, b) + width] += z[a].re * v.im - z[a].im * v.re; }
    }
  }
  const read = (a: number, c: number, bin: number): Complex => ({ re: rows[at(a, c, bin)], im: rows[at(a, c, bin) + width] }), variances = (bin: number): number[] => Array.from({ length: size }, (_, a) => priors[a * width + bin]);
  const dense = (bin: number): Complex[][] => Array.from({ length: size }, (_, a) => Array.from({ length: size }, (_u, c) => {
    const v = read(Math.max(a, c), Math.min(a, c), bin);
    return { re: v.re + (a === c ? 1 / variances(bin)[a] : 0), im: a > c ? v.im : a === c ? 0 : -v.im };
  }));
  return { space, size, system, prior, dense, variances, right: (bin) => Array.from({ length: size }, (_, a) => read(a, a + 1, bin)), write: (row, bin, re) => { rows[2 * width * row + bin] = re; } };
}

interface Solution { mean(a: number, bin: number): Complex; factor(a: number, b: number, bin: number): Complex }

function solve({ space: { width }, size, system, prior }: Case): Solution {
  const triangle = (size * (size + 1)) / 2, means = k.allocF32(2 * size * width), factors = k.allocF32(2 * triangle * width);
  k.fn.solvePathBins(system, prior, size, width, k.alloc(32 * size * (size + 1)), means, factors);
  const read = (ptr: number, row: number, bin: number): Complex => { const x = k.f32(ptr + 8 * width * row, 2 * width); return { re: x[bin], im: x[width + bin] }; };
  return { mean: (a, bin) => read(means, a, bin), factor: (a, b, bin) => read(factors, (a * (a + 1)) / 2 + b, bin) };
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
    const mark = k.mark(), c = makeSystem(size, bins, 100 * size + bins), { mean, factor } = solve(c), { explained, det } = weighSystems(c.space, [c.system], c.prior, size, 0, 1);
    expect(det).toHaveLength(bins);
    for (let b = 0; b < bins; b++) {
      const m = c.dense(b), r = c.right(b), x = solveDense(m, r);
      x.forEach((v, a) => { expect(mean(a, b).re).toBeCloseTo(v.re, 5); expect(mean(a, b).im).toBeCloseTo(v.im, 5); });
      // Column n of M^-1 = F^H F.
      for (const n of new Set([0, size - 1])) {
        const column = solveDense(m, r.map((_, a) => ({ re: a === n ? 1 : 0, im: 0 })));
        for (let a = 0; a < size; a++) {
          let re = 0, im = 0;
          for (let i = Math.max(a, n); i < size; i++) { const p = factor(i, a, b), q = factor(i, n, b); re += p.re * q.re + p.im * q.im; im += p.re * q.im - p.im * q.re; }
          expect(re).toBeCloseTo(column[a].re, 5);
          expect(im).toBeCloseTo(column[a].im, 5);
        }
      }
      // Doubles throughout: only the order of the sums differs.
      const power = r.reduce((s, v, a) => s + v.re * x[a].re + v.im * x[a].im, 0), scaled = c.variances(b).reduce((p, v) => p * v, findDet(m));
      expect(explained[b] / power).toBeCloseTo(1, 9);
      expect(det[b] / scaled).toBeCloseTo(1, 9);
    }
    k.release(mark);
  });

  it('writes its outputs only', () => {
    const size = 3, bins = 6, rows = 6, mark = k.mark(), GUARD = 4, values = countSystemValues(size, bins);
    const system = k.allocF32(values), prior = k.alloc(8 * size * bins), scratch = k.alloc(32 * size * (size + 1));
    k.f32(system, values).fill(0); k.f64(prior, size * bins).fill(2);
    const out = [2 * size * bins, 2 * rows * bins, 2 * 4, 2 * 4].map((n) => { const p = k.allocF32(n + 2 * GUARD); k.f32(p, n + 2 * GUARD).fill(-12345.5); return { p, n }; });
    k.fn.solvePathBins(system, prior, size, bins, scratch, out[0].p + 4 * GUARD, out[1].p + 4 * GUARD);
    // Bins 1, 3 and 5 in two pairs.
    k.fn.weighPathBins(system, 0, prior, size, bins, 1, 6, 2, scratch, out[2].p + 4 * GUARD, out[3].p + 4 * GUARD);
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

  it('keeps a NaN in its own bin, takes denormals and huge values', () => {
    const mark = k.mark(), c = makeSystem(4, 9, 77), clean = solve(c);
    // Row 2 is (1, 0).
    c.write(2, 5, NaN);
    const spoilt = solve(c);
    for (let a = 1; a < 4; a++) for (let b = 0; b < 9; b++) { if (b === 5) expect(spoilt.mean(a, b).re).toBeNaN(); else expect(spoilt.mean(a, b)).toEqual(clean.mean(a, b)); }
    for (const scale of [1e-42, 1e30]) {
      const one = makeSystem(1, 3, 5), g = Math.fround(scale);
      k.f32(one.system, countSystemValues(1, 4)).fill(0);
      k.f64(one.prior, 4).fill(1);
      for (let b = 0; b < 3; b++) { one.write(0, b, scale); one.write(1, b, scale); }
      const solution = solve(one);
      for (let b = 0; b < 3; b++) expect(solution.mean(0, b).re).toBe(Math.fround(g / Math.sqrt(g + 1) / Math.sqrt(g + 1)));
    }
    k.release(mark);
  });

  it.each([[4, 3], [0, 1], [19, 3], [20, 3], [1, 7]])('weighs the sum of two systems from bin %i on in steps of %i, and gives the memory back', (first, step) => {
    const mark = k.mark(), a = makeSystem(3, 20, 5), b = makeSystem(3, 20, 6), values = countSystemValues(3, 20), free = k.freeBytes(), part = weighSystems(a.space, [a.system, b.system], a.prior, 3, first, step);
    expect(k.freeBytes()).toBe(free);
    k.fn.addValues(b.system, values, a.system);
    const whole = weighSystems(a.space, [a.system], a.prior, 3, 0, 1), bins = [];
    for (let bin = first; bin < 20; bin += step) bins.push(bin);
    expect([...part.explained]).toEqual(bins.map((bin) => whole.explained[bin]));
    expect([...part.det]).toEqual(bins.map((bin) => whole.det[bin]));
    k.release(mark);
  });
});
