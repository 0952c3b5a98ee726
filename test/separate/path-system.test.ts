import { beforeEach, describe, expect, it } from 'vitest';
import { addSystemTo, countSystemValues, writeProducts } from '../../src/kernels/paths.js';
import { PlaneSpace } from '../../src/kernels/plane-space.js';
import type { PlacedPlanes } from '../../src/kernels/plane-space.js';
import { PathEngine } from '../../src/separate/path-system.js';
import { makeNoise, openKernels } from '../kernels/support.js';
import { at, conj, directSystem, solveDense, times } from '../reference/path-system.js';
import type { Complex, Spectra } from '../reference/path-system.js';

const TAPS = 3, LEAD = 1;

function drawSpectra(frameCount: number, binCount: number, seed: number): Spectra & { re: Float32Array; im: Float32Array } {
  return { re: Float32Array.from(makeNoise(frameCount * binCount, seed)), im: Float32Array.from(makeNoise(frameCount * binCount, seed + 1)), frameCount, binCount };
}

/** Copies rows of bins to padded rows; what stands behind the last bin is NaN, which must not reach any bin. */
function placeRows(space: PlaneSpace, ptr: number, values: ArrayLike<number>, frameCount: number): void {
  const rows = space.viewRows(ptr, frameCount).fill(NaN);
  for (let k = 0; k < frameCount; k++) for (let b = 0; b < space.binCount; b++) rows[k * space.width + b] = values[k * space.binCount + b];
}

function place(space: PlaneSpace, x: Spectra): PlacedPlanes {
  const [planes] = space.createPlanes(x.frameCount);
  placeRows(space, planes.ptr, x.re, x.frameCount);
  placeRows(space, planes.ptr + 4 * x.frameCount * space.width, x.im, x.frameCount);
  return planes;
}

/** Value of a system at row a, column b (b = a + 1: right side). */
function readSystem(space: PlaneSpace, ptr: number, a: number, b: number, bin: number): Complex {
  const row = space.k.f32(ptr + 8 * space.width * ((a * (a + 3)) / 2 + b), 2 * space.width);
  return { re: row[bin], im: row[space.width + bin] };
}

describe('paths per bin', () => {
  let space: PlaneSpace, engine: PathEngine;
  const open = async (binCount: number): Promise<void> => { space = new PlaneSpace(await openKernels(8 << 20), binCount); engine = new PathEngine(space, { tapCount: TAPS, leadTaps: LEAD }); };
  beforeEach(() => open(7));

  function makeCase(frameCount: number, refCount: number, seed: number) {
    const { binCount, k } = space, refs = Array.from({ length: refCount }, (_, r) => drawSpectra(frameCount, binCount, seed + 10 * r)), observed = drawSpectra(frameCount, binCount, seed + 101);
    const weight = Float32Array.from(makeNoise(frameCount * binCount, seed + 202), (v) => 1 + v), prior = Float64Array.from(makeNoise(refCount * TAPS * binCount, seed + 303), (v) => 1.1 + v);
    const weightPtr = space.createRows(frameCount), priorPtr = k.alloc(8 * refCount * TAPS * space.width), priors = k.f64(priorPtr, refCount * TAPS * space.width).fill(1);
    placeRows(space, weightPtr, weight, frameCount);
    for (let a = 0; a < refCount * TAPS; a++) for (let b = 0; b < binCount; b++) priors[a * space.width + b] = prior[a * binCount + b];
    return { refs, observed, weight, prior, weightPtr, priorPtr, placed: refs.map((x) => place(space, x)), heard: place(space, observed), direct: (bin: number) => directSystem(refs, observed, weight, prior, bin, TAPS, LEAD) };
  }

  it.each([...Array.from({ length: 13 }, (_, n) => [n + 1, 2, 7]), [40, 1, 4], [40, 3, 5], [67, 2, 1], [31, 2, 67]])('have the normal equations of their definition: %i frames, %i references, %i bins', async (frames, refCount, bins) => {
    await open(bins);
    const c = makeCase(frames, refCount, 11), size = refCount * TAPS, out = space.k.allocF32(countSystemValues(size, space.width));
    writeProducts(space, c.placed, c.heard, c.weightPtr, engine.taps, out);
    for (let bin = 0; bin < bins; bin++) {
      const { matrix, right } = c.direct(bin);
      for (let a = 0; a < size; a++) {
        for (let b = 0; b <= a + 1; b++) {
          const got = readSystem(space, out, a, b, bin), want = b > a ? right[a] : matrix[a][b], extra = a === b ? 1 / c.prior[a * bins + bin] : 0;
          // Sums of up to 67 products of float32, each below 1.
          expect(Math.abs(got.re - (want.re - extra))).toBeLessThan(1e-5);
          expect(Math.abs(got.im - want.im)).toBeLessThan(1e-5);
        }
      }
    }
  });

  it.each([[40, 2], [39, 1], [5, 1], [6, 3], [7, 2], [8, 1], [9, 1], [1, 2], [2, 2]])('predict what the regularised solution says, and how surely: %i frames, %i references', (frames, refCount) => {
    const c = makeCase(frames, refCount, 33), [crosstalk] = space.createPlanes(frames), variance = space.createRows(frames), { width } = space, free = space.k.freeBytes();
    engine.explain(c.placed, c.heard, c.weightPtr, [], c.priorPtr, crosstalk, variance);
    expect(space.k.freeBytes()).toBe(free);
    const re = space.viewRows(crosstalk.ptr, frames), im = space.viewRows(crosstalk.ptr + 4 * frames * width, frames), left = space.viewRows(variance, frames);
    for (let bin = 0; bin < space.binCount; bin++) {
      const { matrix, right, tap } = c.direct(bin), mean = solveDense(matrix, right);
      for (let k = 0; k < frames; k++) {
        const z = mean.map((_, a) => tap(a, k)), want = z.reduce((s, v, a) => { const p = times(mean[a], v); return { re: s.re + p.re, im: s.im + p.im }; }, { re: 0, im: 0 });
        // A well-conditioned system of float32.
        expect(re[k * width + bin]).toBeCloseTo(want.re, 5);
        expect(im[k * width + bin]).toBeCloseTo(want.im, 5);
        // Every second window: between them stands the mean of both, at the end the one before.
        const vary = (frame: number): number => { const x = mean.map((_, a) => tap(a, frame)); return solveDense(matrix, x.map(conj)).reduce((s, v, a) => s + times(x[a], v).re, 0); };
        expect(left[k * width + bin]).toBeCloseTo(k % 2 === 0 ? vary(k) : (vary(k - 1) + vary(k + 1 < frames ? k + 1 : k - 1)) / 2, 5);
      }
    }
  });

  it('are found where one made the observation', () => {
    const frames = 40, c = makeCase(frames, 1, 55), path = Array.from({ length: TAPS }, (_, l) => ({ re: 0.3 - 0.2 * l, im: 0.1 * l })), made = drawSpectra(frames, 7, 1);
    for (let k = 0; k < frames; k++) for (let b = 0; b < 7; b++) {
      const v = path.reduce((s, h, l) => { const p = times(h, at(c.refs[0], k - l + LEAD, b)); return { re: s.re + p.re, im: s.im + p.im }; }, { re: 0, im: 0 });
      made.re[k * 7 + b] = v.re; made.im[k * 7 + b] = v.im;
    }
    const [crosstalk] = space.createPlanes(frames), variance = space.createRows(frames), flat = space.createRows(frames);
    space.viewRows(flat, frames).fill(1e6);
    engine.explain(c.placed, place(space, made), flat, [], c.priorPtr, crosstalk, variance);
    const re = space.viewRows(crosstalk.ptr, frames);
    for (let k = 0; k < frames; k++) for (let b = 0; b < 7; b++) expect(re[k * space.width + b]).toBeCloseTo(made.re[k * 7 + b], 4);
  });

  it.each([0, 1, 2])('take a known system of reference %i as if it had been observed together with the stretch', (which) => {
    const frames = 12, c = makeCase(frames, 3, 77), other = makeCase(20, 1, 99), part = engine.createSystem(), values = countSystemValues(3 * TAPS, space.width);
    engine.observe(other.placed[0], other.heard, other.weightPtr, part);
    const whole = space.k.allocF32(values), alone = space.k.allocF32(values);
    for (const ptr of [whole, alone]) writeProducts(space, c.placed, c.heard, c.weightPtr, engine.taps, ptr);
    addSystemTo(space, whole, part, TAPS, which * TAPS);
    for (let bin = 0; bin < 7; bin++) for (let a = 0; a < 3 * TAPS; a++) for (let b = 0; b <= a + 1; b++) {
      const x = a - which * TAPS, y = b > a ? x + 1 : b - which * TAPS, isInside = x >= 0 && x < TAPS && y >= 0, own = readSystem(space, alone, a, b, bin), add = isInside ? readSystem(space, part, x, y, bin) : { re: 0, im: 0 };
      expect(readSystem(space, whole, a, b, bin)).toEqual({ re: Math.fround(own.re + add.re), im: Math.fround(own.im + add.im) });
    }
    const [crosstalk, again] = space.createPlanes(frames, 2), variance = space.createRows(frames);
    engine.explain(c.placed, c.heard, undefined, [{ system: part, at: which * TAPS }], c.priorPtr, crosstalk, variance);
    engine.explain(c.placed, c.heard, undefined, [], c.priorPtr, again, variance);
    // Nothing is known of any path: nothing is predicted.
    for (let k = 0; k < frames; k++) for (let b = 0; b < 7; b++) expect(space.viewRows(again.ptr, frames)[k * space.width + b]).toBe(0);
    expect(Math.abs(space.viewRows(crosstalk.ptr, frames)[3])).toBeGreaterThan(0);
  });

  it('keep a NaN in its own bin', () => {
    const frames = 9, c = makeCase(frames, 2, 11), out = space.k.allocF32(countSystemValues(2 * TAPS, space.width));
    space.viewRows(c.heard.ptr, frames)[5 * space.width + 2] = NaN;
    writeProducts(space, c.placed, c.heard, c.weightPtr, engine.taps, out);
    for (let bin = 0; bin < 7; bin++) for (let a = 0; a < 2 * TAPS; a++) for (let b = 0; b <= a + 1; b++) expect(Number.isNaN(readSystem(space, out, a, b, bin).re)).toBe(bin === 2 && b > a);
  });
});
