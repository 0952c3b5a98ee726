import { beforeAll, describe, expect, it } from 'vitest';
import type { Kernels } from '../../src/kernels/kernels.js';
import { referenceCosine, referenceParabola } from '../reference/peak.js';
import { openKernels } from './support.js';

let k: Kernels;
beforeAll(async () => {
  k = await openKernels(1 << 20);
});

function peakOf(values: ArrayLike<number>, options: { order?: number; share?: number; interpolation?: number; from?: number; to?: number } = {}) {
  const mark = k.mark();
  const r = k.allocF32(values.length);
  const result = k.alloc(32);
  k.f32(r, values.length).set(values);
  const { order = 0, share = 0.6, interpolation = 0, from = 0, to = values.length } = options;
  const found = k.fn.peakLag(r, values.length, from, to, order, share, interpolation, result);
  const [lag, value, index, other] = k.f64(result, 4);
  k.release(mark);
  return { found, lag, value, index, other };
}

const sample = (f: (t: number) => number, count = 21): number[] => Array.from({ length: count }, (_, i) => f(i - (count - 1) / 2));

describe('peak between the samples', () => {
  it.each([[0.1, 0.051], [0.2, 0.1087], [0.25, 0.1429], [0.3, 0.1829], [0.4, 0.2941], [0.5, 0.5]])(
    'has the bias of the parabola on a sinc of offset %f: %f (closed form)', (offset, expected) => {
      const sinc = (t: number): number => (Math.abs(t) < 1e-12 ? 1 : Math.sin(Math.PI * t) / (Math.PI * t));
      const { lag } = peakOf(sample((t) => sinc(t - offset)), { interpolation: 1 });
      // At one half both neighbours tie up to rounding.
      expect(Math.abs(Math.abs(lag) - expected)).toBeLessThan(6e-5);
    });

  it.each([[4000, 0.244856], [8000, 0.228549]])('has the bias of the parabola on a tone of %f Hz at 44.1 kHz: %f (closed form)', (freqHz, expected) => {
    const w = (2 * Math.PI * freqHz) / 44100;
    const values = sample((t) => Math.cos(w * (t - 0.25)), 5);
    expect(peakOf(values, { interpolation: 1 }).lag).toBeCloseTo(expected, 5);
    expect(peakOf(values, { interpolation: 1 }).lag).toBeCloseTo(referenceParabola(values[1], values[2], values[3]), 5);
    const cosine = peakOf(values, { interpolation: 2 });
    expect(cosine.lag).toBeCloseTo(0.25, 6);
    expect(cosine.lag).toBeCloseTo(referenceCosine(values[1], values[2], values[3]), 6);
    expect(cosine.value).toBeCloseTo(1, 6);
  });

  it('takes the first peak that reaches the share, the nearest, or the largest', () => {
    //               -6   -5  -4   -3  -2  -1   0   1    2   3  4   5   6
    const values = [0.1, 0.7, 0.2, 0.3, 0, 0.1, 0, 0.65, 0, 0, 1, 0.2, 0.9];
    expect(peakOf(values).lag).toBe(4);
    expect(peakOf(values, { order: 1 }).lag).toBe(1);
    expect(peakOf(values, { order: 2 }).lag).toBe(-5);
    expect(peakOf(values, { order: 1, share: 0.95 }).lag).toBe(4);
    expect(peakOf(values).other).toBeCloseTo(0.7, 6);
    expect(peakOf(values, { from: 0, to: 4 }).lag).toBe(-5);
    expect(peakOf(values, { from: 5, to: 6, order: 2 }).lag).toBe(-1);
  });

  it('does not interpolate at the ends or off a maximum', () => {
    expect(peakOf([3, 2, 1], { interpolation: 2 })).toMatchObject({ lag: -1, value: 3 });
    expect(peakOf([0, 1, 2, 3, 0], { interpolation: 1, to: 3 })).toMatchObject({ lag: 0, value: 2 });
    expect(peakOf([0, 1, 1, 1, 0], { interpolation: 2 }).lag).toBeCloseTo(-1 + 0.5, 6);
  });

  it('finds none in silence, NaN and negative values, and passes over NaN', () => {
    for (const values of [[0, 0, 0], [NaN, NaN, NaN], [-1, -2, -1]]) {
      expect(peakOf(values, { interpolation: 2 })).toEqual({ found: 0, lag: NaN, value: 0, index: -1, other: 0 });
    }
    expect(peakOf([NaN, 1, 3, 1, NaN], { interpolation: 1 })).toMatchObject({ lag: 0, value: 3 });
    expect(peakOf([0, NaN, 3, 1, 0], { interpolation: 2 })).toMatchObject({ lag: 0, value: 3 });
  });
});
