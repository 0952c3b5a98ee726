import { beforeAll, describe, expect, it } from 'vitest';
import type { Kernels } from '../../src/kernels/kernels.js';
import { referenceFrameTexture, referenceMeanTexture } from '../reference/frame-texture.js';
import { allocGuarded, makeNoise, openKernels } from './support.js';

const FRAMES = 14;
const BINS = 37;

let k: Kernels;
beforeAll(async () => {
  k = await openKernels(1 << 20);
});

function makeScene() {
  const power = allocGuarded(k, FRAMES * BINS);
  power.values.set(makeNoise(FRAMES * BINS, 3).map((v, i) => -Math.log(v + 0.5001) * 1e-6 * 10 ** (5 * ((i % 11) / 11 - 0.3))));
  const floor = allocGuarded(k, BINS);
  floor.values.set(makeNoise(BINS, 4).map((v) => (1 + v) * 1e-6));
  return { power, floor };
}

describe('texture of frames', () => {
  it.each([[0, 4, 0, 0], [1, 36, 36, 37], [3, 8, 20, 33], [5, 18, 30, 37], [2, 24, 0, 37], [0, 37, 9, 9]])(
    'agrees with the plain sums over bins %i to %i, others %i to %i', (firstBin, endBin, highBin, highEnd) => {
      const mark = k.mark();
      const { power, floor } = makeScene();
      // Silence and denormal powers: all logarithms at their least.
      power.values.fill(0, 5 * BINS, 6 * BINS);
      power.values.fill(1e-42, 6 * BINS, 7 * BINS);
      for (const [first, end, lag] of [[0, FRAMES, 4], [3, 9, 2], [4, 5, 4]]) {
        const result = allocGuarded(k, 6 * (end - first));
        k.fn.frameTexture(power.ptr, BINS, floor.ptr, first, end, firstBin, endBin, lag, highBin, highEnd, result.ptr);
        for (const guarded of [power, floor, result]) guarded.expectIntact();
        referenceFrameTexture(power.values, BINS, floor.values, first, end, firstBin, endBin, lag, highBin, highEnd).forEach((sums, i) => sums.forEach((v, n) => {
          // Logarithms err by 2e-7 of at most 20 octaves plus 1 each; the others by a few roundings of their sum, or of denormals.
          const most = n === 0 ? (endBin - firstBin) * 21 * 2e-7 : 1e-6 * v + 1e-38;
          expect(Math.abs(result.values[6 * i + n] - v), `frame ${first + i} sum ${n}`).toBeLessThanOrEqual(most);
        }));
      }
      k.release(mark);
    });

  it('keeps a NaN to its frame and the one that looks back at it', () => {
    const mark = k.mark();
    const { power, floor } = makeScene();
    power.values[5 * BINS + 9] = NaN;
    const result = allocGuarded(k, 6 * FRAMES);
    k.fn.frameTexture(power.ptr, BINS, floor.ptr, 0, FRAMES, 4, 30, 4, 30, 36, result.ptr);
    const hurt = Array.from({ length: FRAMES }, (_, t) => t).filter((t) => result.values.subarray(6 * t, 6 * t + 6).some(Number.isNaN));
    expect(hurt).toEqual([5, 9]);
    k.release(mark);
  });
});

describe('texture over frames', () => {
  it.each([1, 2, 3, 4, 5, 8, 31, 64, 67])('is that of the plain loops over %i frames', (count) => {
    const mark = k.mark();
    const sums = allocGuarded(k, 6 * count), high = allocGuarded(k, count), out = allocGuarded(k, 6);
    sums.values.set(makeNoise(6 * count, count).map((v, i) => (i % 6 === 0 ? 40 * v : (v + 0.5) * 10 ** (i % 7))));
    high.values.set(makeNoise(count, 77).map((v) => 3 + v));
    const rows = Array.from({ length: count }, (_, t) => [...sums.values.subarray(6 * t, 6 * t + 6)]);
    for (const isKnown of [false, true]) {
      k.fn.meanTexture(sums.ptr, count, 12, 4, isKnown ? high.ptr : 0, out.ptr);
      for (const guarded of [sums, high, out]) guarded.expectIntact();
      const want = referenceMeanTexture(rows, 12, 4, isKnown ? high.values : undefined);
      // Sums of positive numbers in f64 in one order; powers of two err by four units in the last place.
      k.f64(out.ptr, 3).forEach((v, n) => expect(Math.abs(v - want[n]), `${n}`).toBeLessThanOrEqual(1e-14 * want[n]));
    }
    k.release(mark);
  });

  it('of nothing, and of silence, is 0', () => {
    const sums = allocGuarded(k, 12), out = allocGuarded(k, 6);
    k.fn.meanTexture(sums.ptr, 0, 12, 4, 0, out.ptr);
    expect([...k.f64(out.ptr, 3)]).toEqual([0, 0, 0]);
    sums.values.fill(0);
    k.fn.meanTexture(sums.ptr, 2, 12, 0, 0, out.ptr);
    expect([...k.f64(out.ptr, 3)].slice(1)).toEqual([0, 0]);
  });
});
