import { beforeAll, describe, expect, it } from 'vitest';
import type { Kernels } from '../../src/kernels/kernels.js';
import { referenceBandRise } from '../reference/band-rise.js';
import { complexIndex, computeIstft, computePower, computeStft, computeStftPower, countWholeSpectra, createStftPlan } from '../../src/kernels/stft.js';
import type { Spectra } from '../../src/kernels/stft.js';
import { referenceOverlapAdd, referenceStft } from '../reference/stft.js';
import { referenceRealInverse } from '../reference/dft.js';
import { referenceHann } from '../reference/window.js';
import { allocGuarded, largestDifference, largestMagnitude, makeNoise, openKernels, placeInLanes, placeTracks } from './support.js';

let k: Kernels;
beforeAll(async () => {
  k = await openKernels();
});

function valuesOf(s: Spectra, spectrum: number, track: number): Float64Array {
  return Float64Array.from({ length: 2 * s.binCount }, (_, j) => s.values[complexIndex(s, spectrum, j >> 1, track) + 4 * (j & 1)]);
}

/** The signal of the scipy fixture: 1 kHz sine and a quarter of a 2.5 kHz cosine at 8 kHz. */
function makeFixture(): Float64Array {
  return Float64Array.from({ length: 1024 }, (_, n) => Math.sin((2 * Math.PI * 1000 * n) / 8000) + 0.25 * Math.cos((2 * Math.PI * 2500 * n) / 8000));
}

describe('spectra and powers in one pass', () => {
  it.each([[1, 33], [3, 1], [4, 20], [6, 32], [8, 33]])('are those of the two passes, bit for bit, for %i tracks and %i bins', (trackCount, keptBins) => {
    const mark = k.mark();
    const plan = createStftPlan(k, { fftSize: 64, hopFrames: 16 });
    const tracks = Array.from({ length: trackCount }, (_, t) => Float32Array.from(makeNoise(300, 30 + t)));
    const apart = computeStft(k, plan, placeTracks(k, tracks), -32, 19);
    const power = computePower(k, apart, 0.25);
    const { spectra, power: at } = computeStftPower(k, plan, placeInLanes(k, tracks), 19, 0.25, keptBins);
    expect(largestMagnitude(power)).toBeGreaterThan(0.1);
    const rowValues = 8 * spectra.groupCount;
    for (let f = 0; f < 19; f++) {
      const want = apart.values.subarray(f * 33 * rowValues, (f * 33 + keptBins) * rowValues);
      expect(largestDifference(spectra.values.subarray(f * keptBins * rowValues, (f + 1) * keptBins * rowValues), want)).toBe(0);
    }
    expect(largestDifference(k.f32(at, power.length), power)).toBe(0);
    k.release(mark);
  });

  it.each([[1, 20, 20], [3, 3, 1], [4, 23, 7], [5, 32, 31], [8, 4, 33]])('keeps %2$i bins of power and sums over the others as plain loops do, for %1$i tracks', (trackCount, powerBins, highFirst) => {
    const mark = k.mark();
    const plan = createStftPlan(k, { fftSize: 64, hopFrames: 16 });
    const tracks = Array.from({ length: trackCount }, (_, t) => Float32Array.from(makeNoise(300, 30 + t), (v, i) => (i < 90 ? 0 : i < 150 ? 1e-25 * v : v)));
    if (trackCount > 1) tracks[1][200] = NaN;
    const lanes = placeInLanes(k, tracks);
    const whole = computeStftPower(k, plan, lanes, 19, 0.25, 33);
    const power = k.f32(whole.power, 19 * 33 * trackCount);
    const edges = [1, 2, 4, 9, 14, 15, 22, 28, 31];
    const floors = tracks.map((_, t) => makeNoise(33, 60 + t).map((v) => 1e-3 * (1.2 + v)));
    const short = computeStftPower(k, plan, lanes, 19, 0.25, 33, { powerBins, floors, edges, highBins: [highFirst, Math.max(31, highFirst)] });
    const [rise, high] = [k.f32(short.sums!.rise, 8 * 19 * trackCount), k.f32(short.sums!.high, 19 * trackCount)];
    for (let j = 0; j < trackCount; j++) {
      const own = power.subarray(j * 19 * 33, (j + 1) * 19 * 33);
      for (let s = 0; s < 19; s++) {
        expect(k.f32(short.power + 4 * (j * 19 + s) * powerBins, powerBins)).toEqual(own.slice(s * 33, s * 33 + powerBins));
        let sum = 0;
        for (let b = highFirst; b < 31; b++) sum += own[s * 33 + b] / floors[j][b];
        expectNear(high[j * 19 + s], sum);
      }
      referenceBandRise(own, 19, 33, floors[j], edges).flat().forEach((v, i) => expectNear(rise[8 * 19 * j + i], v));
    }
    expect(rise.some((v) => v > 1)).toBe(true);
    expect(rise.slice(0, 8).every((v) => v === 0)).toBe(true);
    k.release(mark);
  });
});

/** Thirty additions, products and weights in f32; below 1e-34 the grid of denormal squares. */
function expectNear(got: number, wanted: number): void {
  if (Number.isNaN(wanted)) expect(got).toBeNaN();
  else expect(Math.abs(got - wanted)).toBeLessThanOrEqual(2e-6 * wanted + 1e-34);
}

describe('window', () => {
  it('is the Hann window of scipy.signal.windows.hann (scipy 1.17)', () => {
    const mark = k.mark();
    const w = allocGuarded(k, 8);
    k.fn.hannWindow(w.ptr, 8, 0, 1);
    expect(largestDifference(w.values, [0, 0.1464466094, 0.5, 0.8535533906, 1, 0.8535533906, 0.5, 0.1464466094])).toBeLessThan(6e-8);
    expect(k.fn.sumWindow(w.ptr, 8)).toBeCloseTo(4, 6);
    expect(k.fn.sumWindowSquares(w.ptr, 8)).toBeCloseTo(3, 6);
    k.fn.hannWindow(w.ptr, 8, 1, 1);
    expect(largestDifference(w.values, [0, 0.1882550991, 0.611260467, 0.950484434, 0.950484434, 0.611260467, 0.1882550991, 0])).toBeLessThan(6e-8);
    w.expectIntact();
    k.release(mark);
  });

  it.each([1, 2, 3, 5, 31, 67])('agrees with its formula for %i values', (count) => {
    const mark = k.mark();
    const w = allocGuarded(k, count);
    for (const symmetric of [false, true]) {
      k.fn.hannWindow(w.ptr, count, symmetric ? 1 : 0, 2);
      expect(largestDifference(w.values, referenceHann(count, symmetric).map((v) => 2 * v))).toBeLessThan(2e-7);
    }
    w.expectIntact();
    k.release(mark);
  });
});

describe('short-time spectra', () => {
  it('gives the values of scipy.signal.stft (scipy 1.10 and 1.17, nperseg 256, noverlap 128)', () => {
    const mark = k.mark();
    const region = placeTracks(k, [makeFixture()]);
    const plan = createStftPlan(k, { fftSize: 256, hopFrames: 128 });
    // scipy pads half a window in front and scales by the window's sum.
    const s = computeStft(k, plan, region, -128, 9);
    expect(plan.windowSum).toBeCloseTo(128, 4);
    const magnitude = (bin: number): number => {
      const i = complexIndex(s, 4, bin, 0);
      return Math.hypot(s.values[i], s.values[i + 4]) / plan.windowSum;
    };
    const table: [number, number][] = [[32, 0.5], [80, 0.125], [31, 0.25], [33, 0.25], [50, 0]];
    for (const [bin, value] of table) expect(Math.abs(magnitude(bin) - value)).toBeLessThan(2e-7);
    const back = computeIstft(k, plan, s, 1024, -128);
    expect(largestDifference(back, makeFixture())).toBeLessThan(1e-6);
    k.release(mark);
  });

  it.each([[1, 64, 64, 16], [3, 128, 100, 33], [4, 64, 1, 7], [5, 256, 67, 50], [8, 128, 128, 64], [13, 64, 63, 32], [16, 64, 50, 20]])(
    'agrees with the plain loops: %i tracks, transform %i, window %i, hop %i, ragged ends', (trackCount, n, windowFrames, hop) => {
      const mark = k.mark();
      const tracks = Array.from({ length: trackCount }, (_, t) => Float32Array.from(makeNoise(301, 4711 + t)));
      const region = placeTracks(k, tracks);
      const plan = createStftPlan(k, { fftSize: n, hopFrames: hop, windowFrames });
      const count = 5;
      const first = -hop - 3;
      const guarded = allocGuarded(k, count * plan.binCount * Math.ceil(trackCount / 4) * 8);
      const s = computeStft(k, plan, region, first, count, guarded.ptr);
      guarded.expectIntact();
      const window = referenceHann(windowFrames, false);
      tracks.forEach((x, t) => {
        const reference = referenceStft(x, window, n, first, hop, count);
        for (let i = 0; i < count; i++) expect(largestDifference(valuesOf(s, i, t), reference[i])).toBeLessThan(1e-5);
      });
      for (let t = trackCount; t < 4 * s.groupCount; t++) expect(largestMagnitude(valuesOf(s, 1, t))).toBe(0);
      k.release(mark);
    });

  it.each(Array.from({ length: 67 }, (_, i) => i + 1))('reads a track of %i frames and nothing beside it', (frameCount) => {
    const mark = k.mark();
    const x = Float32Array.from(makeNoise(frameCount, 31 + frameCount));
    // placeTracks puts NaN behind every row: reading one frame too many would show.
    const region = placeTracks(k, [x, x, x]);
    const plan = createStftPlan(k, { fftSize: 64, hopFrames: 16, window: 'rectangle' });
    const s = computeStft(k, plan, region, -24, 5);
    const reference = referenceStft(x, new Float64Array(64).fill(1), 64, -24, 16, 5);
    for (let i = 0; i < 5; i++) expect(largestDifference(valuesOf(s, i, 2), reference[i])).toBeLessThan(2e-5);
    k.release(mark);
  });

  it('counts only windows that lie wholly in the region', () => {
    expect([0, 63, 64, 79, 80, 96].map((f) => countWholeSpectra(f, 64, 16))).toEqual([0, 0, 1, 1, 2, 3]);
  });

  it('spoils only the spectra that a NaN touches, and no other track', () => {
    const mark = k.mark();
    const x = Float32Array.from(makeNoise(512));
    const y = x.slice();
    y[200] = NaN;
    const plan = createStftPlan(k, { fftSize: 64, hopFrames: 32 });
    const s = computeStft(k, plan, placeTracks(k, [x, y]));
    for (let i = 0; i < s.spectrumCount; i++) {
      // The window's first value is 0, but 0 times NaN is NaN: a frame is touched when it is read.
      const touched = 32 * i <= 200 && 200 < 32 * i + 64;
      expect(valuesOf(s, i, 0).every(Number.isFinite)).toBe(true);
      expect(valuesOf(s, i, 1).every(Number.isFinite)).toBe(!touched);
    }
    const back = computeIstft(k, plan, s, 512);
    for (let f = 0; f < 512; f++) {
      expect(Number.isFinite(back[f])).toBe(true);
      expect(Number.isFinite(back[512 + f])).toBe(!(f >= 160 && f < 256));
    }
    k.release(mark);
  });

  it('gives exact zeros for silence, and a full-scale sine half the window sum', () => {
    const mark = k.mark();
    const sine = Float32Array.from({ length: 1024 }, (_, i) => Math.sin((2 * Math.PI * 16 * i) / 128 + 0.3));
    const plan = createStftPlan(k, { fftSize: 128, hopFrames: 64 });
    const s = computeStft(k, plan, placeTracks(k, [new Float32Array(1024), sine, new Float32Array(1024).fill(1e-42)]));
    expect(largestMagnitude(valuesOf(s, 3, 0))).toBe(0);
    const power = computePower(k, s);
    const at = (track: number, spectrum: number, bin: number): number => power[(track * s.spectrumCount + spectrum) * s.binCount + bin];
    expect(Math.sqrt(at(1, 3, 16))).toBeCloseTo(0.5 * plan.windowSum, 4);
    expect(at(0, 3, 16)).toBe(0);
    expect(at(2, 3, 0)).toBe(0);
    k.release(mark);
  });
});

describe('power', () => {
  it.each([1, 2, 3, 4, 6, 8])('is planar for %i tracks', (trackCount) => {
    const mark = k.mark();
    const tracks = Array.from({ length: trackCount }, (_, t) => Float32Array.from(makeNoise(200, 5 + t)));
    const plan = createStftPlan(k, { fftSize: 64, hopFrames: 16 });
    const s = computeStft(k, plan, placeTracks(k, tracks));
    const out = allocGuarded(k, trackCount * s.spectrumCount * s.binCount);
    k.fn.powerFromSpectra(s.ptr, s.spectrumCount, s.binCount, trackCount, 0.25, out.ptr);
    out.expectIntact();
    for (let t = 0; t < trackCount; t++) {
      for (let i = 0; i < s.spectrumCount; i++) {
        const v = valuesOf(s, i, t);
        for (let b = 0; b < s.binCount; b++) {
          const p = 0.25 * (v[2 * b] ** 2 + v[2 * b + 1] ** 2);
          expect(Math.abs(out.values[(t * s.spectrumCount + i) * s.binCount + b] - p)).toBeLessThanOrEqual(2e-7 * p);
        }
      }
    }
    k.release(mark);
  });
});

describe('signals from spectra', () => {
  it.each([[1, 64, 64, 16], [3, 128, 100, 50], [5, 64, 64, 32], [8, 256, 256, 64]])(
    'come back: %i tracks, transform %i, window %i, hop %i', (trackCount, n, windowFrames, hop) => {
      const mark = k.mark();
      const frameCount = 777;
      const tracks = Array.from({ length: trackCount }, (_, t) => Float32Array.from(makeNoise(frameCount, 77 + t)));
      const plan = createStftPlan(k, { fftSize: n, hopFrames: hop, windowFrames });
      const first = -windowFrames;
      const count = Math.ceil((frameCount + windowFrames) / hop) + 1;
      const s = computeStft(k, plan, placeTracks(k, tracks), first, count);
      const back = computeIstft(k, plan, s, frameCount, first);
      tracks.forEach((x, t) => expect(largestDifference(back.subarray(t * frameCount, (t + 1) * frameCount), x)).toBeLessThan(2e-6));
      k.release(mark);
    });

  it('agree with the plain overlap-add for changed spectra and partial cover', () => {
    const mark = k.mark();
    const plan = createStftPlan(k, { fftSize: 64, hopFrames: 24, windowFrames: 60 });
    const s = computeStft(k, plan, placeTracks(k, [Float32Array.from(makeNoise(200))]), 10, 5);
    for (let i = 0; i < s.values.length; i++) s.values[i] *= ((i * 7) % 11) / 11;
    const frames = Array.from({ length: 5 }, (_, i) => {
      const v = valuesOf(s, i, 0);
      v[1] = 0;
      v[65] = 0;
      return referenceRealInverse(v, 64);
    });
    const reference = referenceOverlapAdd(frames, referenceHann(60, false), 10, 24, 150);
    const out = allocGuarded(k, 150);
    const weight = allocGuarded(k, 150);
    k.fn.istft(s.ptr, 5, 1, 64, 10, 24, plan.window, 60, plan.table, plan.scratch, weight.ptr, out.ptr, 150, 150);
    out.expectIntact();
    weight.expectIntact();
    // Where the squared windows sum to 1e-4 the division enlarges rounding a hundredfold.
    expect(largestDifference(out.values, reference)).toBeLessThan(2e-5);
    expect(largestMagnitude(out.values.subarray(0, 11))).toBe(0);
    k.release(mark);
  });
});
