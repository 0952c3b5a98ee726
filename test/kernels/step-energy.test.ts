import { beforeAll, describe, expect, it } from 'vitest';
import type { Kernels } from '../../src/kernels/kernels.js';
import { StepEnergies } from '../../src/kernels/step-energies.js';
import { referenceStepEnergies } from '../reference/survey.js';
import { allocGuarded, largestDifference, largestMagnitude, makeNoise, openKernels, placeInLanes } from './support.js';

const FRAMES = 5000;
/** scipy.signal.butter(2, 400, 'highpass', fs=44100), scipy 1.17: b = 0.9605, a = [1, -1.9194, 0.9227]; rounded, it is the same for both sides. */
const FILTER = { b: 0.9605, a1: -1.9194, a2: 0.9227 };

let k: Kernels;
beforeAll(async () => {
  k = await openKernels(8 << 20);
});

const makeTracks = (count: number): Float32Array[] => Array.from({ length: count }, (_, j) => (
  Float32Array.from(makeNoise(FRAMES, 400 + j), (v, i) => v * (i > 300 && i < 500 ? 1 : 0.1) / (j + 1) + 0.5 * Math.sin(i / 80))));

/** The kernel on steps from a frame on, between sentinels: [step][lane]. */
function measure(tracks: Float32Array[], startFrame: number, warm: number, stepCount: number, stepFrames: number): Float32Array {
  const region = placeInLanes(k, tracks);
  const groups = Math.ceil(tracks.length / 4);
  const filter = k.allocF32(3);
  k.f32(filter, 3).set([FILTER.b, FILTER.a1, FILTER.a2]);
  const out = allocGuarded(k, 4 * groups * stepCount);
  k.fn.stepEnergies(region.lanes + 16 * startFrame, region.groupBytes, groups, warm, stepCount, stepFrames, filter, out.ptr);
  out.expectIntact();
  return out.values;
}

describe('energies in steps', () => {
  it.each([
    [1, 0, 0, 67, 8], [2, 0, 64, 33, 7], [3, 100, 50, 1, 1], [4, 350, 400, 5, 67], [5, 777, 441, 100, 8], [8, 480, 480, 31, 3], [16, 2000, 441, 64, 2],
  ])('agree with the plain loops: %i tracks, from frame %i, %i to warm up, %i steps of %i', (trackCount, start, warm, stepCount, stepFrames) => {
    const mark = k.mark();
    const tracks = makeTracks(trackCount);
    const got = measure(tracks, start, warm, stepCount, stepFrames);
    const lanes = 4 * Math.ceil(trackCount / 4);
    for (let j = 0; j < lanes; j++) {
      const own = got.filter((_, i) => i % lanes === j);
      const want = j < trackCount ? referenceStepEnergies(tracks[j], FILTER.b, FILTER.a1, FILTER.a2, start, warm, stepCount, stepFrames) : new Float64Array(stepCount);
      // f32 with state of the size of the 0.5 sine: some tens of roundings of 2^-24 of it per sample, times the sample.
      expect(largestDifference(own, want)).toBeLessThanOrEqual(1e-5 * Math.sqrt(stepFrames * largestMagnitude(want)));
      if (j < trackCount) expect(largestMagnitude(want)).toBeGreaterThan(0);
    }
    k.release(mark);
  });

  it('die away in silence after sound, stay out of denormals, and keep a NaN to its track and its step', () => {
    const mark = k.mark();
    const tracks = makeTracks(6);
    tracks[0].fill(0, 350);
    tracks[1][600] = NaN;
    tracks[5].fill(1e-42);
    const got = measure(tracks, 0, 0, 600, 8);
    const lane = (j: number): Float32Array => got.filter((_, i) => i % 8 === j);
    expect(lane(0)[40]).toBeGreaterThan(1e-4);
    // A pole radius of 0.96 leaves nothing above 1e-15 of the state after 900 samples.
    expect(lane(0).subarray(160).every((v) => v === 0)).toBe(true);
    expect(lane(5).every((v) => v === 0)).toBe(true);
    expect(Array.from(lane(1).keys()).filter((s) => Number.isNaN(lane(1)[s]))).toEqual([75]);
    for (const j of [2, 3, 4]) expect(lane(j).every((v) => v > 0)).toBe(true);
    k.release(mark);
  });

  it('are the same wherever one begins to ask', () => {
    const mark = k.mark();
    const region = placeInLanes(k, makeTracks(5));
    const [all, some] = [new StepEnergies(k, region, FILTER, 7, 441), new StepEnergies(k, region, FILTER, 7, 441)];
    all.prepare(0, all.stepCount);
    some.prepare(300, 301);
    some.prepare(-20, 10);
    some.prepare(690, 800);
    expect(all.stepCount).toBe(714);
    const part = (s: StepEnergies, from: number, to: number): number[] => Array.from(s.values.subarray(from * 8, to * 8));
    for (const [from, to] of [[300, 301], [0, 10], [690, 714]]) expect(part(some, from, to)).toEqual(part(all, from, to));
    k.release(mark);
  });
});
