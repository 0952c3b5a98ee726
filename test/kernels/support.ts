/** What the kernel tests share: an instance, noise, tracks in memory, sentinels. */
import { expect } from 'vitest';
import type { Kernels } from '../../src/kernels/kernels.js';
import { createKernels } from '../../src/kernels/kernels.js';
import { fillLanes, placeLanes, type LaneRegion } from '../../src/kernels/lane-records.js';
import type { SignalRegion } from '../../src/kernels/stft.js';
import { loadKernelsFile } from '../../src/node/kernels-file.js';

export async function openKernels(bytes = 16 << 20): Promise<Kernels> {
  return createKernels(await loadKernelsFile(), bytes);
}

/** Centred noise of the prime-modulus generator in NIST SP 1065 p. 108 (16807, 2^31 - 1), values in [-0.5, 0.5). */
export function makeNoise(count: number, seed = 1234567890): Float64Array {
  let state = seed;
  return Float64Array.from({ length: count }, () => {
    const u = state / 2147483647 - 0.5;
    state = (16807 * state) % 2147483647;
    return u;
  });
}

/** Copies tracks of equal length into the kernels' memory with an odd stride, so that rows are not 16-aligned. */
export function placeTracks(k: Kernels, tracks: ArrayLike<number>[]): SignalRegion {
  const frameCount = tracks[0].length;
  const trackStrideFrames = frameCount + 1;
  const signal = k.allocF32(trackStrideFrames * tracks.length);
  const all = k.f32(signal, trackStrideFrames * tracks.length).fill(NaN);
  tracks.forEach((t, i) => all.set(t, i * trackStrideFrames));
  return { signal, trackStrideFrames, trackCount: tracks.length, frameCount };
}

/** The same as lanes, with 64 frames of silence around. */
export function placeInLanes(k: Kernels, tracks: ArrayLike<number>[]): LaneRegion {
  const region = placeLanes(k, tracks.length, tracks[0].length, 64);
  fillLanes(k, region, tracks);
  return region;
}

const SENTINEL = -12345.5;
const GUARD = 16;

/** Memory with guards on both sides; `expectIntact` fails when a kernel wrote outside. */
export function allocGuarded(k: Kernels, count: number): { ptr: number; values: Float32Array; expectIntact(): void } {
  const base = k.allocF32(count + 2 * GUARD);
  const all = k.f32(base, count + 2 * GUARD).fill(SENTINEL);
  return {
    ptr: base + 4 * GUARD,
    values: all.subarray(GUARD, GUARD + count),
    expectIntact: () => {
      for (let i = 0; i < GUARD; i++) {
        expect(all[i]).toBe(SENTINEL);
        expect(all[GUARD + count + i]).toBe(SENTINEL);
      }
    },
  };
}

/** Largest absolute difference; NaN anywhere gives NaN. */
export function largestDifference(a: ArrayLike<number>, b: ArrayLike<number>): number {
  expect(a.length).toBe(b.length);
  let worst = 0;
  for (let i = 0; i < a.length; i++) {
    const d = Math.abs(a[i] - b[i]);
    if (!(d <= worst)) worst = d;
    if (Number.isNaN(d)) return NaN;
  }
  return worst;
}

/** Largest absolute value. */
export function largestMagnitude(a: ArrayLike<number>): number {
  let worst = 0;
  for (let i = 0; i < a.length; i++) worst = Math.max(worst, Math.abs(a[i]));
  return worst;
}
