import { beforeAll, describe, expect, it } from 'vitest';
import type { Kernels } from '../../src/kernels/kernels.js';
import { referenceSetShape, referenceShifted } from '../reference/set-shape.js';
import { allocGuarded, largestDifference, makeNoise, openKernels } from './support.js';

let k: Kernels;
beforeAll(async () => {
  k = await openKernels(8 << 20);
});

const BINS = 33;
const FRAMES = 40;

/** Sums of the kernel over a set, between sentinels. */
function sumShape(power: ArrayLike<number>, floor: ArrayLike<number>, set: number[], from: number, to: number): { spectrum: Float64Array; inTime: Float64Array } {
  const place = (values: ArrayLike<number>): number => {
    const ptr = k.allocF32(values.length);
    k.f32(ptr, values.length).set(values);
    return ptr;
  };
  const setPtr = k.alloc(4 * set.length);
  k.u32(setPtr, set.length).set(set);
  const [spectrum, inTime] = [allocGuarded(k, 2 * BINS), allocGuarded(k, 2 * (to - from))];
  k.fn.sumSetShape(place(power), BINS, place(floor), setPtr, set.length, from, to, spectrum.ptr, inTime.ptr);
  spectrum.expectIntact();
  inTime.expectIntact();
  return { spectrum: k.f64(spectrum.ptr, BINS), inTime: k.f64(inTime.ptr, to - from) };
}

describe('the shape of a set of bins', () => {
  const power = Float32Array.from(makeNoise(BINS * FRAMES, 5), (v) => 1 + v);
  const floor = Float32Array.from(makeNoise(BINS, 6), (v) => 0.8 + v);

  it.each([[0, 40, 3], [7, 8, 1], [5, 40, 67], [30, 33, 2], [0, 1, 1]])('is that of the plain loops: frames %i to %i, one bin in %i', (from, to, every) => {
    const mark = k.mark();
    const set = Array.from({ length: BINS * (to - from) }, (_, n) => BINS * from + n).filter((n) => n % every === 0);
    const got = sumShape(power, floor, set, from, to);
    const want = referenceSetShape(power, BINS, floor, set, from, to);
    // The same f64 sums in the same order.
    expect(largestDifference(got.spectrum, want.spectrum)).toBe(0);
    expect(largestDifference(got.inTime, want.inTime)).toBe(0);
    expect(got.spectrum.reduce((s, v) => s + v, 0)).toBeGreaterThan(0);
    k.release(mark);
  });

  it('of nothing, and of silence, is 0', () => {
    const mark = k.mark();
    expect([...sumShape(power, floor, [], 3, 9).inTime]).toEqual([0, 0, 0, 0, 0, 0]);
    const silent = sumShape(new Float32Array(BINS * FRAMES), floor, [4 * BINS, 4 * BINS + 5], 3, 9);
    expect([...silent.spectrum, ...silent.inTime].every((v) => v === 0)).toBe(true);
    k.release(mark);
  });
});

describe('likeness of a spectrum to itself under a shift', () => {
  const shifted = (spectrum: Float64Array, first: number, end: number, from: number, to: number): number => {
    const mark = k.mark();
    const ptr = k.alloc(8 * spectrum.length);
    k.f64(ptr, spectrum.length).set(spectrum);
    const scratch = allocGuarded(k, 2 * (end - first));
    const got = k.fn.correlateShifted(ptr, first, end, from, to, scratch.ptr);
    scratch.expectIntact();
    k.release(mark);
    return got;
  };

  it.each([1, 2, 3, 4, 5, 7, 8, 31, 64, 67])('is that of the plain loops over %i bins', (width) => {
    const spectrum = makeNoise(width + 9, 40 + width).map((v) => 0.5 + v);
    for (const [from, to] of [[0, width - 1], [1, width - 1], [2, Math.floor(width / 2)]]) {
      expect(Math.abs(shifted(spectrum, 5, 5 + width, from, to) - referenceShifted(spectrum, 5, 5 + width, from, to))).toBeLessThan(1e-13);
    }
  });

  it('is near 1 for a stack of harmonics, and 0 for silence and NaN', () => {
    const comb = Float64Array.from({ length: 200 }, (_, b) => (b % 8 === 0 ? 1 : 0));
    expect(shifted(comb, 4, 196, 3, 30)).toBeGreaterThan(0.9);
    expect(shifted(new Float64Array(200), 4, 196, 3, 30)).toBe(0);
    expect(shifted(new Float64Array(200).fill(NaN), 4, 196, 3, 30)).toBe(0);
  });
});
