import { beforeAll, describe, expect, it } from 'vitest';
import type { Kernels } from '../../src/kernels/kernels.js';
import { complexIndex, computeStftPower, createStftPlan, type Spectra } from '../../src/kernels/stft.js';
import { createLagTransform, StretchKernels } from '../../src/kernels/stretch-kernels.js';
import { referenceSetCorrelation, referenceSetLevels } from '../reference/set-lags.js';
import { allocGuarded, makeNoise, openKernels, placeInLanes } from './support.js';

const SIZE = 64;
const BINS = SIZE / 2 + 1;
/** Bins of the spectra in memory; sets count by BINS. */
const KEPT = 29;
const FRAMES = 12;
const SCALE = 0.04;
const MAX_STEPS = 50;

let k: Kernels;
beforeAll(async () => {
  k = await openKernels(8 << 20);
});

function makeScene(trackCount: number) {
  const plan = createStftPlan(k, { fftSize: SIZE, hopFrames: 16 });
  const shared = makeNoise(300, 77);
  const signal = placeInLanes(k, Array.from({ length: trackCount }, (_, j) => {
    const own = makeNoise(260, 200 + j);
    return own.map((v, i) => 0.3 * v + shared[i + 20 - 2 * j] / (j + 1));
  }));
  const { spectra: s } = computeStftPower(k, plan, signal, FRAMES, SCALE, KEPT);
  const floors = Array.from({ length: trackCount }, (_, j) => Float32Array.from(makeNoise(BINS, 300 + j), (v) => (0.6 + v) * SCALE * 2));
  const stretch = new StretchKernels(
    k, { trackCount, frameCount: FRAMES, binCount: BINS, power: 0, powerScale: SCALE, spectra: s.ptr, keptBins: KEPT, signal }, createLagTransform(k, SIZE),
  );
  return { s, floors, stretch };
}

const valuesOf = (s: Spectra, track: number): Float64Array[] => Array.from({ length: FRAMES }, (_unused, frame) => (
  Float64Array.from({ length: 2 * KEPT }, (_, i) => s.values[complexIndex(s, frame, i >> 1, track) + 4 * (i & 1)])));

/** Every third to fifth bin, from bin 0 to the last kept. */
const SET = Uint32Array.from({ length: FRAMES * BINS }, (_, i) => i).filter((i) => i % BINS < KEPT && (i % 3 === 0 || i % 5 === 0));

function compareLags(scene: ReturnType<typeof makeScene>, own: number): number[] {
  const trackCount = scene.floors.length;
  const got = scene.stretch.measureSet(scene.floors, own, SET, MAX_STEPS, 0).lags;
  const spectra = Array.from({ length: trackCount }, (_, j) => valuesOf(scene.s, j));
  return got.map((lag, j) => {
    if (j === own) return 0;
    const noise = scene.floors[j].map((f) => f / SCALE);
    const want = referenceSetCorrelation(spectra, own, j, noise, SET, BINS, 2 * SIZE, MAX_STEPS + 1);
    // Sums of some two hundred terms of at most 1 and a transform of 128 points in f32.
    const close = (a: number, b: number): void => expect(Math.abs(a - b), `track ${j}`).toBeLessThan(5e-5);
    const best = want.r.subarray(1, -1).reduce((a, v) => Math.max(a, v), -Infinity);
    const at = lag.step + MAX_STEPS + 1;
    close(want.r[at], best);
    [lag.before, lag.peak, lag.after, lag.atZero].forEach((v, i) => close(v, want.r[i === 3 ? MAX_STEPS + 1 : at + i - 1]));
    close(lag.weightSum, want.weightSum);
    close(lag.squareSum, want.squareSum);
    return lag.step;
  });
}

describe('lags over a set of bins', () => {
  it.each([2, 3, 4, 5, 8, 16])('agree with the plain sums for %i tracks, and find the delays', (trackCount) => {
    const mark = k.mark();
    const scene = makeScene(trackCount);
    for (const own of new Set([0, 1, trackCount - 1])) {
      const steps = compareLags(scene, own);
      // Neighbours are two samples apart, four steps.
      for (const j of [own - 1, own + 1]) if (steps[j] !== undefined && Math.max(own, j) < 4) expect(Math.abs(steps[j] - 4 * (j - own))).toBeLessThanOrEqual(1);
    }
    k.release(mark);
  });

  it('lets silence, denormals, NaN and infinity add nothing, on the own track and on others', () => {
    const mark = k.mark();
    const scene = makeScene(5);
    const set = (frame: number, bin: number, track: number, re: number, im: number): void => {
      const at = complexIndex(scene.s, frame, bin, track);
      scene.s.values[at] = re;
      scene.s.values[at + 4] = im;
    };
    for (let b = 0; b < KEPT; b++) {
      set(1, b, 0, 0, 0);
      set(2, b, 0, NaN, 1);
      set(3, b, 1, 0, 0);
      set(4, b, 1, 1e-42, 0);
      set(5, b, 2, NaN, 1);
      set(6, b, 2, Infinity, 0);
      set(7, b, 3, 1e25, 0);
      set(8, b, 0, 1e25, 0);
    }
    // Squares beyond f32 count as infinite.
    const plain = scene.s.values.slice();
    for (let b = 0; b < KEPT; b++) { set(7, b, 3, Infinity, 0); set(8, b, 0, Infinity, 0); }
    compareLags(scene, 0);
    const before = scene.stretch.measureSet(scene.floors, 0, SET, MAX_STEPS, 0).lags;
    scene.s.values.set(plain);
    expect(scene.stretch.measureSet(scene.floors, 0, SET, MAX_STEPS, 0).lags).toEqual(before);
    expect(before.slice(1).every((lag) => Number.isFinite(lag.peak) && lag.weightSum > 0)).toBe(true);
    k.release(mark);
  });

  it('says that nothing was heard under a high floor or in an empty set, and writes nowhere else', () => {
    const mark = k.mark();
    const { s, floors, stretch } = makeScene(3);
    const deaf = floors.map((f) => f.map(() => 1e9));
    stretch.measureSet(deaf, 0, SET, MAX_STEPS, 0).lags.forEach((lag) => expect([lag.step, lag.peak, lag.weightSum]).toEqual([0, 0, 0]));
    stretch.measureSet(floors, 0, new Uint32Array(0), MAX_STEPS, 0).lags.forEach((lag) => expect([lag.step, lag.peak, lag.weightSum]).toEqual([0, 0, 0]));
    const noise = allocGuarded(k, 4 * BINS);
    noise.values.fill(1);
    const setPtr = k.alloc(4 * SET.length);
    k.i32(setPtr, SET.length).set(SET);
    const scratch = allocGuarded(k, k.fn.setScratchBytes(2 * SIZE, 3, SET.length) / 4);
    const result = allocGuarded(k, 28), levels = allocGuarded(k, 24);
    const fft = createLagTransform(k, SIZE);
    k.fn.measureSet(s.ptr, KEPT, BINS, 3, noise.ptr, 0, setPtr, SET.length, 2 * SIZE, fft?.table ?? 0, MAX_STEPS, scratch.ptr, result.ptr, SCALE, 9, levels.ptr);
    for (const guarded of [noise, scratch, result, levels]) guarded.expectIntact();
    expect(stretch.fitsLags(SIZE)).toBe(false);
    expect(createLagTransform(k, 8192)).toBeUndefined();
    k.release(mark);
  });
});

describe('levels over a set of bins', () => {
  it.each([1, 4, 7])('agree with the plain sums for %i tracks', (trackCount) => {
    const mark = k.mark();
    const { s, floors, stretch } = makeScene(trackCount);
    for (const split of [0, 13, BINS]) {
      const got = stretch.measureSet(floors, 0, SET, MAX_STEPS, split).levels;
      floors.forEach((floor, j) => {
        const want = referenceSetLevels(valuesOf(s, j), floor.map((f) => f / SCALE), SCALE, SET, BINS, split);
        // Each term is rounded to f32 where it is at most the power and the noise; the sums are f64.
        const grain = 3e-7 * (want.low + want.high + 2 * want.noise);
        for (const key of ['low', 'high', 'noise'] as const) expect(Math.abs(got[key][j] - want[key]), `${key} ${j}`).toBeLessThanOrEqual(grain);
      });
    }
    k.release(mark);
  });
});
