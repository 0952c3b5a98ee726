import { beforeAll, describe, expect, it } from 'vitest';
import type { Kernels } from '../../src/kernels/kernels.js';
import { referenceHeld, referenceParts, type ReferenceFrames } from '../reference/sound-parts.js';
import { allocGuarded, makeNoise, openKernels } from './support.js';

let k: Kernels;
beforeAll(async () => {
  k = await openKernels(8 << 20);
});

const BINS = 21;
const KEPT = 19;
const FRAMES = 67;

/** Spectra [frame][bin][re, im] of one track among `trackCount`, laid out for the kernel; all other lanes are NaN. */
function placeSpectra(spectra: ArrayLike<number>, trackCount: number, track: number): number {
  const groups = Math.ceil(trackCount / 4), count = FRAMES * KEPT * groups * 8, ptr = k.allocF32(count), values = k.f32(ptr, count).fill(NaN);
  for (let t = 0; t < FRAMES; t++) {
    for (let b = 0; b < KEPT; b++) {
      const at = ((t * KEPT + b) * groups + (track >> 2)) * 8 + (track & 3);
      values[at] = spectra[2 * (t * BINS + b)];
      values[at + 4] = spectra[2 * (t * BINS + b) + 1];
    }
  }
  return ptr;
}

function placeSet(set: readonly number[]): number {
  const ptr = k.alloc(4 * set.length);
  k.u32(ptr, set.length).set(set);
  return ptr;
}

/** Every `every`th bin that phases are kept of, in frames [from, to). */
function chooseBins(from: number, to: number, every: number): number[] {
  return Array.from({ length: (to - from) * BINS }, (_, n) => from * BINS + n).filter((n) => n % BINS < KEPT && n % every === 0);
}

function held(spectra: ArrayLike<number>, set: number[], start: number, lag: number, trackCount = 3, track = 1): number {
  const mark = k.mark(), scratch = allocGuarded(k, 6 * BINS);
  const got = k.fn.heldTones(placeSpectra(spectra, trackCount, track), KEPT, trackCount, track, BINS, placeSet(set), set.length, start, lag, scratch.ptr);
  scratch.expectIntact();
  k.release(mark);
  return got;
}

describe('tones that keep their frequency', () => {
  const noise = Float32Array.from(makeNoise(2 * FRAMES * BINS, 3));
  /** A tone in every bin whose phase turns by `turn(t)` radians up to frame t, fading. */
  const tone = (turn: (t: number) => number): Float32Array => Float32Array.from({ length: 2 * FRAMES * BINS }, (_, n) => {
    const t = Math.floor(n / 2 / BINS);
    return 0.95 ** t * (n % 2 === 0 ? Math.cos(turn(t)) : Math.sin(turn(t)));
  });

  it.each([[0, 67, 1, 1, 0], [0, 67, 3, 8, 5], [5, 23, 2, 5, 4], [9, 14, 1, 16, 15], [0, 4, 1, 4, 3], [66, 67, 1, 2, 1]])('are found as by the plain loops: frames %i to %i, one bin in %i, %i tracks', (from, to, every, trackCount, track) => {
    const set = chooseBins(from, to, every);
    // Sums of the same f64 products in another order of bins.
    expect(Math.abs(held(noise, set, from, 4, trackCount, track) - referenceHeld(noise, BINS, set, from, 4))).toBeLessThan(1e-12);
  });

  it.each([1, 2, 3, 4, 5, 7, 8, 31, 63, 64, 67])('are 1 for a fading tone and little for noise, %i frames', (count) => {
    const set = chooseBins(0, count, 1), steady = held(tone((t) => 0.9 * t), set, 0, 4);
    // Values of f32 turn by 0.9 to within 1e-7.
    expect(steady).toBeCloseTo(count > 4 ? 1 : 0, 6);
    // m independent turns add up to about 1 / sqrt(m) of their lengths; 19 bins of them scatter little.
    if (count > 20) expect(held(noise, set, 0, 4)).toBeLessThan(2 / Math.sqrt(count - 4));
  });

  it('are few where the frequency glides', () => {
    // Turns of lag 4 differ by .3 radians from frame to frame and fade by r = .95^2: a geometric series, (1 - r) / |1 - r exp(.3i)|; after 63 terms r^63 = .002 is left.
    const r = 0.95 ** 2, expected = (1 - r) / Math.hypot(1 - r * Math.cos(0.3), r * Math.sin(0.3));
    expect(Math.abs(held(tone((t) => 0.0375 * t * t), chooseBins(0, 67, 1), 0, 4) - expected)).toBeLessThan(0.002);
  });

  it('are 0 for silence and nothing, and of no consequence beyond full scale', () => {
    expect(held(new Float32Array(2 * FRAMES * BINS), chooseBins(0, 40, 1), 0, 4)).toBe(0);
    expect(held(noise, [], 3, 4)).toBe(0);
    expect(held(noise.map((v) => v * 1e18), chooseBins(0, 40, 1), 0, 4)).toBeCloseTo(held(noise, chooseBins(0, 40, 1), 0, 4), 5);
    expect(held(noise.map((v) => v * 1e-42), chooseBins(0, 40, 1), 0, 4)).toBeGreaterThan(0);
    expect(held(new Float32Array(2 * FRAMES * BINS).fill(NaN), chooseBins(0, 40, 1), 0, 4)).toBe(0);
  });
});

describe('parts of a sound', () => {
  const power = Float32Array.from(makeNoise(BINS * FRAMES, 5), (v) => 1 + v), floor = Float32Array.from(makeNoise(BINS, 6), (v) => 0.8 + v);
  const compare = (p: ArrayLike<number>, set: number[], f: ReferenceFrames, bins: [number, number]): number[] => {
    const mark = k.mark(), scratch = allocGuarded(k, 6 * BINS), result = allocGuarded(k, 14);
    const powerPtr = k.allocF32(p.length), floorPtr = k.allocF32(BINS);
    k.f32(powerPtr, p.length).set(p);
    k.f32(floorPtr, BINS).set(floor);
    k.fn.compareParts(powerPtr, BINS, floorPtr, placeSet(set), set.length, f.before, f.start, f.split, f.end, f.half, bins[0], bins[1], scratch.ptr, result.ptr);
    scratch.expectIntact();
    result.expectIntact();
    const got = [...k.f64(result.ptr, 7)];
    k.release(mark);
    return got;
  };

  it.each([[0, 10, 20, 67, 1], [0, 0, 5, 31, 2], [12, 15, 23, 32, 5], [3, 4, 4, 5, 1], [60, 66, 66, 67, 1]])('compare as in the plain loops: before %i, from %i, split at %i, to %i, one bin in %i', (before, start, split, end, every) => {
    const set = chooseBins(start, end, every), frames = { before, start, split, end, half: (end - start + 1) >> 1 };
    const got = compare(power, set, frames, [2, 18]), want = referenceParts(power, BINS, floor, set, frames, 2, 18);
    want.forEach((v, n) => expect(Math.abs(got[n] - v), `result ${n}`).toBeLessThanOrEqual(1e-12 * Math.max(1, v)));
    expect(got[1]).toBeGreaterThan(0);
  });

  it('are alike where they are the same, and not at all in other bins', () => {
    const rows = (first: number, rest: number): Float32Array => Float32Array.from({ length: BINS * FRAMES }, (_, n) => (n % BINS === (n < 30 * BINS ? first : rest) ? 5 : 0));
    const frames = { before: 10, start: 20, split: 30, end: 50, half: 15 }, set = chooseBins(20, 50, 1);
    const [start, rest, before, within, across, late, early] = compare(rows(7, 7), set, frames, [2, 18]);
    expect([within, across]).toEqual([1, 1]);
    expect(rest / start).toBeCloseTo(2, 12);
    expect([before, late]).toEqual([start, early]);
    expect(compare(rows(7, 12), set, frames, [2, 18]).slice(3, 5)).toEqual([0, Math.sqrt(1 / 3) * Math.sqrt((5 - floor[7]) / (((5 - floor[7]) + 2 * (5 - floor[12])) / 3))]);
  });

  it('compare in the same way at full scale and far below it, and not at all where a bin is no number', () => {
    const frames = { before: 2, start: 12, split: 20, end: 30, half: 9 }, set = chooseBins(12, 30, 1);
    const scaled = (by: number): number[] => compare(power.map((v) => v * by), set, frames, [2, 18]);
    // Beside powers of 1e38 the floor is nothing, so that parts only differ by their noise; 1e-42 lies below the floor.
    expect(scaled(1e38).every((v) => Number.isFinite(v) && v > 0)).toBe(true);
    expect(scaled(1e-42)).toEqual([0, 0, 0, 0, 0, 0, 0]);
    const broken = Float32Array.from(power);
    broken[15 * BINS + 3] = NaN;
    const got = compare(broken, set, frames, [2, 18]);
    expect([got[0], got[3], got[4]]).toEqual([NaN, 0, 0]);
    expect(got[1]).toBe(compare(power, set, frames, [2, 18])[1]);
  });

  it('are 0 for silence and nothing', () => {
    const frames = { before: 0, start: 3, split: 5, end: 9, half: 3 };
    expect(compare(new Float32Array(BINS * FRAMES), chooseBins(3, 9, 1), frames, [2, 18])).toEqual([0, 0, 0, 0, 0, 0, 0]);
    expect(compare(power, [], { ...frames, before: 3 }, [2, 18])).toEqual([0, 0, 0, 0, 0, 0, 0]);
  });
});
