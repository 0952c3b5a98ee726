import { beforeAll, describe, expect, it } from 'vitest';
import type { Kernels } from '../../src/kernels/kernels.js';
import { createPlanes } from '../../src/separate/planes.js';
import type { Planes } from '../../src/separate/planes.js';
import { addSystem, createPathSystem, PathEngine } from '../../src/separate/path-system.js';
import { makeNoise, openKernels } from '../kernels/support.js';
import { at, conj, directSystem, solveDense, times } from '../reference/path-system.js';

const FRAMES = 40, BINS = 7, TAPS = 3, LEAD = 1;

function makePlanes(seed: number): Planes {
  const x = createPlanes(FRAMES, BINS);
  x.re.set(makeNoise(FRAMES * BINS, seed)); x.im.set(makeNoise(FRAMES * BINS, seed + 1));
  return x;
}

describe('paths per bin', () => {
  const refs = [makePlanes(11), makePlanes(22)], observed = makePlanes(33);
  const weight = Float32Array.from(makeNoise(FRAMES * BINS, 44), (v) => 1 + v);
  const prior = Float64Array.from(makeNoise(2 * TAPS * BINS, 55), (v) => 1.1 + v);
  let k: Kernels, engine: PathEngine;
  beforeAll(async () => { k = await openKernels(4 << 20); engine = new PathEngine(k, { tapCount: TAPS, leadTaps: LEAD }); });

  it('solves the regularised normal equations of their definition, mean and uncertainty', () => {
    const system = createPathSystem(2 * TAPS, BINS);
    engine.addObservations(system, refs, weight, observed);
    const solution = engine.solve(system, prior), { crosstalk, variance } = engine.predict(solution, refs);
    for (let bin = 0; bin < BINS; bin++) {
      const { matrix, right, tap } = directSystem(refs, observed, weight, prior, bin, TAPS, LEAD);
      const mean = solveDense(matrix, right);
      mean.forEach((h, a) => {
        // Forty products of float32 in every sum of a well-conditioned system.
        expect(solution.mean.re[a * BINS + bin]).toBeCloseTo(h.re, 5);
        expect(solution.mean.im[a * BINS + bin]).toBeCloseTo(h.im, 5);
      });
      for (const k of [0, 1, 20, FRAMES - 1]) {
        const z = mean.map((_, a) => tap(a, k));
        const c = z.reduce((s, v, a) => { const p = times(mean[a], v); return { re: s.re + p.re, im: s.im + p.im }; }, { re: 0, im: 0 });
        expect(crosstalk.re[k * BINS + bin]).toBeCloseTo(c.re, 5);
        expect(crosstalk.im[k * BINS + bin]).toBeCloseTo(c.im, 5);
        const y = solveDense(matrix, z.map(conj));
        expect(variance[k * BINS + bin]).toBeCloseTo(y.reduce((s, v, a) => s + times(z[a], v).re, 0), 5);
      }
    }
  });

  it('finds a path that made the observation', () => {
    const path = Array.from({ length: TAPS }, (_, l) => ({ re: 0.3 - 0.2 * l, im: 0.1 * l }));
    const made = createPlanes(FRAMES, BINS);
    for (let k = 0; k < FRAMES; k++) for (let b = 0; b < BINS; b++) path.forEach((h, l) => { const v = times(h, at(refs[0], k - l + LEAD, b)); made.re[k * BINS + b] += v.re; made.im[k * BINS + b] += v.im; });
    const system = createPathSystem(TAPS, BINS), flat = new Float32Array(FRAMES * BINS).fill(1e6);
    engine.addObservations(system, [refs[0]], flat, made);
    const solution = engine.solve(system, new Float64Array(TAPS * BINS).fill(1));
    path.forEach((h, l) => { for (let b = 0; b < BINS; b++) { expect(solution.mean.re[l * BINS + b]).toBeCloseTo(h.re, 4); expect(solution.mean.im[l * BINS + b]).toBeCloseTo(h.im, 4); } });
  });

  it('adds a part to its block only', () => {
    const part = createPathSystem(TAPS, BINS), whole = createPathSystem(2 * TAPS, BINS), direct = createPathSystem(2 * TAPS, BINS);
    engine.addObservations(part, [refs[1]], weight, observed);
    addSystem(whole, part, TAPS);
    engine.addObservations(direct, refs, weight, observed);
    for (let a = 0; a < 2 * TAPS; a++) for (let b = 0; b <= a; b++) {
      const row = ((a * (a + 1)) / 2 + b) * BINS;
      const expected = a >= TAPS && b >= TAPS ? direct.gram.re.slice(row, row + BINS) : new Float32Array(BINS);
      expect([...whole.gram.re.slice(row, row + BINS)]).toEqual([...expected]);
    }
    expect([...whole.right.re.slice(TAPS * BINS)]).toEqual([...direct.right.re.slice(TAPS * BINS)]);
    expect(whole.right.re.slice(0, TAPS * BINS).every((v) => v === 0)).toBe(true);
  });

  it.each([[0, 1], [1, 3], [2, 7], [0, 5]] as const)('touches the bins %i to %i only, and those like the whole', (first, end) => {
    const whole = createPathSystem(2 * TAPS, BINS), part = createPathSystem(2 * TAPS, BINS);
    engine.addObservations(whole, refs, weight, observed);
    engine.addObservations(part, refs, weight, observed, [first, end]);
    const isInside = (i: number): boolean => i % BINS >= first && i % BINS < end;
    part.gram.re.forEach((v, i) => expect(v).toBe(isInside(i) ? whole.gram.re[i] : 0));
    part.gram.im.forEach((v, i) => expect(v).toBe(isInside(i) ? whole.gram.im[i] : 0));
    part.right.re.forEach((v, i) => expect(v).toBe(isInside(i) ? whole.right.re[i] : 0));
    const all = engine.predict(engine.solve(whole, prior), refs), some = engine.predict(engine.solve(part, prior, [first, end]), refs, [first, end]);
    some.crosstalk.re.forEach((v, i) => expect(v).toBe(isInside(i) ? all.crosstalk.re[i] : 0));
    some.variance.forEach((v, i) => expect(v).toBe(isInside(i) ? all.variance[i] : 0));
  });

  it('keeps a NaN in its own bin and gives the memory back', () => {
    const free = k.freeBytes(), spoilt: Planes = { ...observed, re: observed.re.slice() };
    spoilt.re[5 * BINS + 2] = NaN;
    const system = createPathSystem(2 * TAPS, BINS);
    engine.addObservations(system, refs, weight, spoilt);
    system.right.re.forEach((v, i) => expect(Number.isNaN(v)).toBe(i % BINS === 2));
    expect(system.gram.re.some((v) => Number.isNaN(v))).toBe(false);
    expect(k.freeBytes()).toBe(free);
  });
});
