import { beforeAll, describe, expect, it } from 'vitest';
import type { Kernels } from '../../src/kernels/kernels.js';
import { referenceDryOffset, referenceEnvelope, type Steps } from '../reference/track-envelope.js';
import { allocGuarded, largestDifference, largestMagnitude, makeNoise, openKernels } from './support.js';

let k: Kernels;
beforeAll(async () => {
  k = await openKernels(1 << 20);
});

const STEPS = 260;
const SHARE = 1.6;
/** Where the sound of lane 1 begins and stops; the room goes on in all lanes. */
const BEGIN = 60, END = 150;

function makeSteps(laneCount: number, width: number): Steps {
  const noise = makeNoise(STEPS * laneCount, 11 + laneCount);
  const energy = Float32Array.from(noise, (v, i) => {
    const step = Math.floor(i / laneCount), lane = i % laneCount;
    const room = step >= BEGIN ? 0.08 * Math.exp(-Math.max(0, step - END) / 25) : 0;
    return 1e-3 * (v + 0.5) + room * (1 + 0.1 * v) + (lane === 1 && step >= BEGIN && step < END ? 1 + 0.2 * v : 0);
  });
  return { energy, laneCount, stepCount: STEPS, width, perFrame: 1 / (width * 8) };
}

/** Both kernels between sentinels. */
function measure(s: Steps, lane: number, first: number, count: number, from: number, high: number, hold: number, noise: number[], scale: number[]): { own: Float64Array; offset: number } {
  const energy = allocGuarded(k, s.energy.length), own = allocGuarded(k, 2 * count), scratch = allocGuarded(k, 2 * s.laneCount);
  energy.values.set(s.energy);
  const others = k.alloc(16 * s.laneCount);
  k.f64(others, 2 * s.laneCount).set([...noise, ...scale]);
  k.fn.trackEnvelope(energy.ptr, s.laneCount, s.stepCount, lane, first, count, s.width >> 1, s.width, s.perFrame, own.ptr);
  const offset = k.fn.findDryOffset(
    energy.ptr, s.laneCount, s.stepCount, own.ptr, first, count, from, high, hold, s.width >> 1, s.width, s.perFrame, SHARE, others, others + 8 * s.laneCount, scratch.ptr,
  );
  for (const guarded of [energy, own, scratch]) guarded.expectIntact();
  return { own: k.f64(own.ptr, count).slice(), offset };
}

const othersOf = (laneCount: number, count: number): { noise: number[]; scale: number[] } => ({
  noise: Array.from({ length: laneCount }, (_, j) => (j !== 1 && j < count ? 5e-5 * (1 + j) : NaN)), scale: Array.from({ length: laneCount }, (_, j) => 1.3 - 0.1 * j),
});

describe('the envelope of a track', () => {
  it.each([
    [4, 4, 18, 40, 200], [4, 3, 1, 0, 67], [8, 8, 18, 40, 200], [8, 5, 17, 30, 230], [16, 16, 18, 40, 210], [4, 0, 18, 40, 200], [4, 2, 5, 55, 2], [8, 7, 18, 59, 1],
  ])('and its end agree with the plain loops: %i lanes, %i tracks, %i steps wide, from step %i, %i steps', (laneCount, tracks, width, first, count) => {
    const mark = k.mark();
    const s = makeSteps(laneCount, width), { noise, scale } = othersOf(laneCount, tracks);
    const from = Math.max(first, Math.min(BEGIN + 20, first + count - 1));
    for (const [high, hold] of [[0.005, 12], [0.02, 3], [0.08, 30], [1e-9, 12], [5, 12]]) {
      const { own, offset } = measure(s, 1, first, count, from, high, hold, noise, scale);
      const wanted = referenceEnvelope(s, 1, first, count);
      // Running sums: a rounding of f64 per step.
      expect(largestDifference(own, wanted)).toBeLessThan(1e-13 * largestMagnitude(wanted));
      // Beyond the end of the envelope nothing is known.
      expect(Math.abs(offset - referenceDryOffset(s, wanted, first, from, high, hold, SHARE, noise, scale)), `level ${high}`).toBeLessThan(1e-9);
    }
    k.release(mark);
  });

  it('ends with the voice where the room goes on, and later where nobody else tells', () => {
    const mark = k.mark();
    const s = makeSteps(8, 18), { noise, scale } = othersOf(8, 8), alone = othersOf(8, 0);
    const inRoom = measure(s, 1, 40, 200, 80, 0.004, 12, noise, scale.map(() => 1)).offset, unaided = measure(s, 1, 40, 200, 80, 0.004, 12, alone.noise, alone.scale).offset;
    expect(Math.abs(inRoom - END)).toBeLessThan(12);
    expect(unaided).toBeGreaterThan(inRoom + 15);
    k.release(mark);
  });

  it('is 0 for silence, and a NaN ends it', () => {
    const mark = k.mark();
    const s = { ...makeSteps(4, 6), energy: new Float32Array(4 * STEPS) }, { noise, scale } = othersOf(4, 4);
    expect(largestMagnitude(measure(s, 1, 0, 67, 10, 1e-6, 5, noise, scale).own)).toBe(0);
    const loud = makeSteps(4, 6), energy = Float32Array.from(loud.energy);
    energy[4 * 100 + 1] = NaN;
    const { own, offset } = measure({ ...loud, energy }, 1, 40, 200, 70, 0.01, 5, noise, scale);
    expect(own.findIndex((v) => Number.isNaN(v))).toBe(100 - 6 + 3 + 1 - 40);
    expect(offset).toBeLessThan(100);
    k.release(mark);
  });
});
