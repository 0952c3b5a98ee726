import { beforeAll, describe, expect, it } from 'vitest';
import type { Kernels } from '../../src/kernels/kernels.js';
import { StretchKernels } from '../../src/kernels/stretch-kernels.js';
import { referenceBandRise, referenceEvenFrames } from '../reference/band-rise.js';
import { allocGuarded, makeNoise, openKernels } from './support.js';

const FRAMES = 60;
const BINS = 67;
const RAGGED = [3, 4, 6, 11, 23, 30, 39, 51, 66];

const NO_SIGNAL = { lanes: 0, groupBytes: 0, trackCount: 0, frameCount: 0, padFrames: 0 };

let k: Kernels;
beforeAll(async () => {
  k = await openKernels(4 << 20);
});

const exponential = (count: number, seed: number): Float64Array => makeNoise(count, seed).map((v) => -Math.log(v + 0.5001));

describe('even rise of the whole spectrum', () => {
  it('gives the mean of power over floor in bands of 1 to 15 bins, and writes nowhere else', () => {
    const mark = k.mark();
    const power = allocGuarded(k, FRAMES * BINS);
    power.values.set(exponential(FRAMES * BINS, 5).map((v) => v * 1e-5));
    power.values.fill(0, 2 * BINS, 3 * BINS);
    power.values.fill(1e-41, 3 * BINS, 4 * BINS);
    const floor = allocGuarded(k, BINS);
    floor.values.set(makeNoise(BINS, 9).map((v) => (1 + v) * 1e-5));
    const edge = k.alloc(36);
    k.i32(edge, 9).set(RAGGED);
    const rise = allocGuarded(k, FRAMES * 8);
    k.fn.bandRise(power.ptr, FRAMES, BINS, floor.ptr, edge, rise.ptr);
    for (const guarded of [power, floor, rise]) guarded.expectIntact();
    referenceBandRise(power.values, FRAMES, BINS, floor.values, RAGGED).flat().forEach((v, i) => {
      // 15 additions and divisions in f32; below 1e-38 the grid of denormals.
      expect(Math.abs(rise.values[i] - v), `value ${i}`).toBeLessThanOrEqual(1e-6 * v + 1e-38);
    });
    k.release(mark);
  });

  it('flags the frames of the plain loops, leaves one loud band out, and is not fooled by a steep spectrum, silence or NaN', () => {
    const mark = k.mark();
    const tracks = ['even', 'one loud band', 'two loud bands', 'steep', 'silent', 'hurt'];
    const at = k.allocF32(tracks.length * FRAMES * BINS + 8);
    const powers = tracks.map((kind, j) => {
      const p = k.f32(at + 4 * j * FRAMES * BINS, FRAMES * BINS);
      p.set(exponential(FRAMES * BINS, 50 + j).map((v, i) => {
        const [t, b] = [Math.floor(i / BINS), i % BINS];
        const isLoud = t >= 20 && t < 45;
        const extra = kind === 'steep' ? 10 ** (-b / 30) : (kind === 'one loud band' && b >= 51) || (kind === 'two loud bands' && b >= 39) ? 100 : 1;
        return kind === 'silent' ? 0 : v * (isLoud ? 40 * extra : 1);
      }));
      return p;
    });
    powers[5][30 * BINS + 40] = NaN;
    const floors = tracks.map(() => new Float32Array(BINS).fill(1));
    const stretch = new StretchKernels(k, { trackCount: tracks.length, frameCount: FRAMES, binCount: BINS, power: at, powerScale: 1, spectra: 0, keptBins: 0, signal: NO_SIGNAL });
    const flags = stretch.flagEvenFrames(floors, RAGGED, 4, 10 ** 0.9, 10 ** 0.9);
    const counts = flags.map((f, j) => {
      expect(Array.from(f), tracks[j]).toEqual(referenceEvenFrames(referenceBandRise(powers[j], FRAMES, BINS, floors[j], RAGGED), 4, 9, 9));
      return f.reduce((a, b) => a + b, 0);
    });
    expect(counts[0]).toBeGreaterThanOrEqual(25);
    expect(counts[1]).toBeGreaterThanOrEqual(25);
    expect(counts.slice(2, 5)).toEqual([0, 0, 0]);
    expect(Array.from(flags[5].subarray(26, 35))).toEqual(Array(9).fill(0));
    k.release(mark);
  });
});
