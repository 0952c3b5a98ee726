import { beforeAll, describe, expect, it } from 'vitest';
import type { Kernels } from '../../src/kernels/kernels.js';
import { StretchKernels } from '../../src/kernels/stretch-kernels.js';
import { referenceOwnedOver, referenceOwnership, referencePedestal } from '../reference/ownership.js';
import { allocGuarded, makeNoise, openKernels } from './support.js';

const FRAMES = 23;
const BINS = 41;
const LEAST_SNR = 4;
const PAD = 8;

const NO_SIGNAL = { lanes: 0, groupBytes: 0, trackCount: 0, frameCount: 0, padFrames: 0 };

let k: Kernels;
beforeAll(async () => {
  k = await openKernels(8 << 20);
});

/** Exponential powers, some tracks loud in places, floors and gains of their own. */
function makeScene(trackCount: number) {
  const at = k.allocF32(trackCount * FRAMES * BINS + PAD);
  const power = Array.from({ length: trackCount }, (_, j) => {
    const p = k.f32(at + 4 * j * FRAMES * BINS, FRAMES * BINS);
    p.set(makeNoise(FRAMES * BINS, 100 + j).map((v, i) => -Math.log(v + 0.5001) * 1e-6 * (j + 1) * ((i * 7 + j * 13) % 40 < 9 ? 60 : 1)));
    return p;
  });
  const floors = power.map((_, j) => Float32Array.from(makeNoise(BINS, 900 + j), (v) => (1.2 + v) * 1e-6 * (j + 1)));
  const scale = power.map((_, j) => Math.fround(1.5 ** -j));
  const lost = power.map((_, j) => Uint8Array.from({ length: FRAMES }, (_unused, t) => (j % 3 === 1 && t > 8 && t < 14 ? 1 : 0)));
  const stretch = new StretchKernels(k, { trackCount, frameCount: FRAMES, binCount: BINS, power: at, powerScale: 1, spectra: 0, keptBins: 0, signal: NO_SIGNAL });
  return { power, floors, scale, lost, stretch };
}
type Scene = ReturnType<typeof makeScene>;

function compare(scene: Scene, bins: readonly [number, number]): number {
  const { power, floors, scale, lost, stretch } = scene;
  const got = stretch.mapOwnership(floors, scale, lost, bins, LEAST_SNR);
  const want = referenceOwnership(power, FRAMES, BINS, floors, scale, lost, bins[0], bins[1], LEAST_SNR);
  let owned = 0;
  const frameIsSure = Array<boolean>(FRAMES).fill(true);
  want.owner.forEach((o, i) => {
    // Ten additions and products of f32: decisions closer than that are rounding's.
    if (want.margin[i] < 2e-6) { frameIsSure[Math.floor(i / BINS)] = false; return; }
    expect(got.owner[i], `bin ${i}`).toBe(o);
    // Differences of powers four times their floor carry 2e-6 of relative error: 1e-5 dB; the logarithm up to 2e-7 (20 + 1) octaves.
    expect(Math.abs(got.leadDb[i] - want.leadDb[i]), `lead ${i}`).toBeLessThan(5e-5);
    if (o !== 255) owned++;
  });
  power.forEach((_, j) => {
    const sums = stretch.sumOwned(floors[j], j);
    want.owned[j].forEach((v, t) => { if (frameIsSure[t]) expect(Math.abs(sums[t] - v), `owned ${j} ${t}`).toBeLessThanOrEqual(1e-6 * Math.abs(v)); });
  });
  return owned;
}

describe('ownership of bins', () => {
  it.each([1, 2, 3, 4, 5, 8, 16])('agrees with the plain loops for %i tracks and ragged bands', (trackCount) => {
    const mark = k.mark();
    const scene = makeScene(trackCount);
    for (const bins of [[1, 40], [1, 5], [3, 10], [5, 37], [36, 40]] as const) {
      expect(scene.stretch.fitsBand(bins)).toBe(true);
      const owned = compare(scene, bins);
      if (bins[1] === 37) expect(owned).toBeGreaterThan(50);
    }
    k.release(mark);
  });

  it('lets silence own nothing, keeps NaN and infinity to their neighbourhood, and takes denormals', () => {
    const mark = k.mark();
    const scene = makeScene(3);
    scene.power[0].fill(0);
    scene.power[1].fill(1e-41);
    const quiet = scene.stretch.mapOwnership(scene.floors, scene.scale, scene.lost, [2, 39], LEAST_SNR);
    expect(quiet.owner.some((o) => o === 0 || o === 1)).toBe(false);
    const before = quiet.owner.slice();
    scene.power[2][10 * BINS + 20] = NaN;
    const after = scene.stretch.mapOwnership(scene.floors, scene.scale, scene.lost, [2, 39], LEAST_SNR);
    after.owner.forEach((o, i) => {
      const isNear = Math.abs(Math.floor(i / BINS) - 10) <= 1 && Math.abs((i % BINS) - 20) <= 1;
      expect(o).toBe(isNear ? 255 : before[i]);
    });
    scene.power[2][10 * BINS + 20] = Infinity;
    const infinite = scene.stretch.mapOwnership(scene.floors, scene.scale, scene.lost, [2, 39], LEAST_SNR);
    expect(infinite.owner[10 * BINS + 21]).toBe(2);
    expect(infinite.leadDb[10 * BINS + 21]).toBeCloseTo(60, 4);
    k.release(mark);
  });

  it('keeps best and second of the other tracks where one is NaN', () => {
    const mark = k.mark();
    const at = k.allocF32(3 * BINS + PAD);
    const stretch = new StretchKernels(k, { trackCount: 3, frameCount: 1, binCount: BINS, power: at, powerScale: 1, spectra: 0, keptBins: 0, signal: NO_SIGNAL });
    const floors = [0, 1, 2].map(() => new Float32Array(BINS).fill(0.125));
    for (let hurt = 0; hurt < 3; hurt++) {
      [0, 1, 2].forEach((j) => k.f32(at + 4 * j * BINS, BINS).fill(j === hurt ? NaN : j === (hurt + 1) % 3 ? 8.125 : 2.125));
      const got = stretch.mapOwnership(floors, [1, 1, 1], floors.map(() => Uint8Array.of(0)), [1, 9], LEAST_SNR);
      expect(got.owner[4]).toBe((hurt + 1) % 3);
      expect(got.leadDb[4]).toBeCloseTo(10 * Math.log10(4), 5);
    }
    k.release(mark);
  });

  it('gives leads as exact as f32 allows from 0 to 60 dB', () => {
    const mark = k.mark();
    const at = k.allocF32(2 * BINS + PAD);
    const stretch = new StretchKernels(k, { trackCount: 2, frameCount: 1, binCount: BINS, power: at, powerScale: 1, spectra: 0, keptBins: 0, signal: NO_SIGNAL });
    const floors = [0, 1].map(() => new Float32Array(BINS).fill(1e-20));
    for (let db = 0.01; db < 61; db += 0.37) {
      const loud = Math.fround(10 ** (db / 10));
      k.f32(at, BINS).fill(loud);
      k.f32(at + 4 * BINS, BINS).fill(1);
      const got = stretch.mapOwnership(floors, [1, 1], [Uint8Array.of(0), Uint8Array.of(0)], [1, 9], LEAST_SNR).leadDb[4];
      // Each power is rounded about ten times, 2.6e-7 dB each at most, with either sign; the logarithm adds up to 2e-7 per octave.
      expect(Math.abs(got - Math.min(60, 10 * Math.log10(loud)))).toBeLessThan(2e-6 + 2e-7 * db);
    }
    k.release(mark);
  });

  it('takes one frame, all tracks lost, and equal tracks', () => {
    const mark = k.mark();
    const at = k.allocF32(2 * BINS + PAD);
    k.f32(at, 2 * BINS).fill(1);
    const stretch = new StretchKernels(k, { trackCount: 2, frameCount: 1, binCount: BINS, power: at, powerScale: 1, spectra: 0, keptBins: 0, signal: NO_SIGNAL });
    const floors = [new Float32Array(BINS).fill(0.1), new Float32Array(BINS).fill(0.1)];
    const draw = stretch.mapOwnership(floors, [1, 1], [Uint8Array.of(0), Uint8Array.of(0)], [1, 9], LEAST_SNR);
    expect([...draw.owner.slice(0, 10)]).toEqual([255, 0, 0, 0, 0, 0, 0, 0, 0, 255]);
    expect(draw.leadDb[4]).toBe(0);
    const none = stretch.mapOwnership(floors, [1, 1], [Uint8Array.of(1), Uint8Array.of(1)], [1, 9], LEAST_SNR);
    expect(none.owner.every((o) => o === 255)).toBe(true);
    expect(none.leadDb.every((v) => v === 0)).toBe(true);
    k.release(mark);
  });

  it('writes nowhere else and clears what lies outside the band', () => {
    const mark = k.mark();
    const { power, floors, stretch } = makeScene(2);
    const floor = allocGuarded(k, 2 * BINS);
    floors.forEach((f, j) => floor.values.set(f, j * BINS));
    const scale = allocGuarded(k, 2);
    scale.values.set([1, 1]);
    const owner = allocGuarded(k, Math.ceil((FRAMES * BINS) / 4));
    const lead = allocGuarded(k, FRAMES * BINS);
    const owned = allocGuarded(k, 2 * FRAMES);
    const scratch = allocGuarded(k, k.fn.ownershipScratchBytes(BINS, 2) / 4);
    const lost = k.alloc(2 * FRAMES);
    k.u8(lost, 2 * FRAMES).fill(0);
    k.fn.mapOwnership(power[0].byteOffset, FRAMES, BINS, 2, floor.ptr, scale.ptr, lost, 6, 33, LEAST_SNR, scratch.ptr, owner.ptr, lead.ptr, owned.ptr);
    for (const guarded of [floor, scale, owner, lead, owned, scratch]) guarded.expectIntact();
    const owners = k.u8(owner.ptr, FRAMES * BINS);
    for (let i = 0; i < FRAMES * BINS; i++) if (i % BINS < 6 || i % BINS >= 33) expect([owners[i], lead.values[i]]).toEqual([255, 0]);
    expect(stretch.fitsBand([0, 9])).toBe(false);
    expect(stretch.fitsBand([2, 5])).toBe(false);
    expect(stretch.fitsBand([2, BINS])).toBe(false);
    k.release(mark);
  });
});

describe('pedestal', () => {
  it.each([[1, 40], [4, 9], [7, 30]] as const)('agrees with a sort and the plain sum over it, bins %i to %i', (...bins) => {
    const mark = k.mark();
    const { power, floors, scale, lost, stretch } = makeScene(3);
    power[1][3 * BINS + 8] = NaN;
    power[1].fill(0, 4 * BINS, 5 * BINS);
    const { owner } = stretch.mapOwnership(floors, scale, lost, bins, LEAST_SNR);
    const level = Float32Array.from({ length: FRAMES }, (_, t) => (t % 5 === 2 ? 3.9 : t === 7 ? NaN : 4 + t));
    const rank = Math.floor(0.4 * (bins[1] - bins[0]));
    for (let j = 0; j < 3; j++) {
      const got = stretch.findPedestal(floors[j], j, level, bins, 4, rank, 4).slice();
      const want = referencePedestal(power[j], FRAMES, BINS, floors[j], level, 4, bins[0], bins[1], rank, 4);
      want.forEach((v, t) => expect(Math.abs(got[t] - v), `pedestal ${j} ${t}`).toBeLessThanOrEqual(2e-7 * v));
      const over = stretch.sumOwned(floors[j], j, got);
      const sums = referenceOwnedOver(power[j], FRAMES, BINS, floors[j], owner, j, bins[0], bins[1], got);
      sums.forEach((v, t) => expect(Math.abs(over[t] - v), `over ${j} ${t}`).toBeLessThanOrEqual(1e-7 * Math.abs(v)));
    }
    k.release(mark);
  });

  it('takes the value of every rank exactly, for bands of any width, ties and infinities too', () => {
    const mark = k.mark();
    const { power, floors, stretch } = makeScene(1);
    power[0].fill(2, 2 * BINS, 3 * BINS);
    power[0].fill(Infinity, 3 * BINS + 3, 3 * BINS + 9);
    const level = new Float32Array(FRAMES).fill(10);
    for (let end = 5; end < BINS; end++) {
      for (const rank of new Set([0, 1, (end - 1) >> 1, end - 2])) {
        const got = stretch.findPedestal(floors[0], 0, level, [1, end], 4, rank, 1e6).slice();
        const want = referencePedestal(power[0], FRAMES, BINS, floors[0], level, 4, 1, end, rank, 1e6);
        want.forEach((v, t) => expect(Math.abs(got[t] - v) <= 2e-7 * v || got[t] === v, `bins 1 to ${end}, rank ${rank}, frame ${t}: ${got[t]}, not ${v}`).toBe(true));
      }
    }
    k.release(mark);
  });
});
