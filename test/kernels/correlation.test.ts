import { beforeAll, describe, expect, it } from 'vitest';
import { correlateRegion, correlateSums, createCorrelationPlan, findPeak, pairIndex } from '../../src/kernels/correlation.js';
import { crossCorrelate } from './cross-correlation.js';
import type { Whitening } from '../../src/kernels/cross-spectra.js';
import type { Kernels } from '../../src/kernels/kernels.js';
import { referenceCrossCorrelation, referencePairCorrelation } from '../reference/correlation.js';
import { referenceStft } from '../reference/stft.js';
import { referenceHann } from '../reference/window.js';
import { allocGuarded, largestDifference, largestMagnitude, makeNoise, openKernels, placeTracks } from './support.js';

let k: Kernels;
beforeAll(async () => {
  k = await openKernels(64 << 20);
});

describe('plain cross-correlation', () => {
  it('gives the values of scipy.signal.correlate (scipy 1.17), with our sign', () => {
    // scipy's lag counts how much its first argument is later.
    expect(largestDifference(crossCorrelate(k, [0, 1, 2, 0], [1, 2, 3, 4], 3), [0, 2, 5, 8, 11, 4, 0])).toBeLessThan(1e-5);
  });

  it('gives the linear convolution of [1,0,-1,2] and [2,1,0,1] (closed form)', () => {
    const reversed = [2, -1, 0, 1];
    // Convolution is correlation with the reversed signal; lags -3 .. 3.
    expect(largestDifference(crossCorrelate(k, reversed, [2, 1, 0, 1], 3), [2, 1, -2, 4, 2, -1, 2])).toBeLessThan(1e-5);
  });

  it.each([1, 2, 3, 7, 16, 31, 67])('agrees with the plain sum for signals of %i and 40 frames', (count) => {
    const a = Float32Array.from(makeNoise(count));
    const b = Float32Array.from(makeNoise(40, 7));
    expect(largestDifference(crossCorrelate(k, a, b, 20), referenceCrossCorrelation(a, b, 20))).toBeLessThan(3e-6);
  });

  it('refuses what does not fit', () => {
    expect(() => crossCorrelate(k, new Float32Array(8000), [1], 400)).toThrow(/do not fit/);
    expect(() => crossCorrelate(k, [], [], 4)).toThrow(/do not fit/);
  });
});

describe('phase correlation', () => {
  it('is a unit impulse for a circular delay of 7 (Knapp & Carter 1976)', () => {
    const mark = k.mark();
    const x = Float32Array.from(makeNoise(1024));
    const y = Float32Array.from(x, (_, i) => x[(i - 7 + 1024) % 1024]);
    const plan = createCorrelationPlan(k, { fftSize: 1024, hopFrames: 1024, window: 'rectangle', trackCount: 2, whitening: 'phase', maxLagFrames: 512 });
    const r = correlateRegion(k, plan, placeTracks(k, [x, y]), 0, 1024);
    r.values.forEach((v, i) => expect(Math.abs(v - (i - 512 === 7 ? 1 : 0))).toBeLessThan(2e-6));
    const peak = findPeak(k, plan, r, 0, 1);
    expect(peak.lagFrames).toBeCloseTo(7, 5);
    expect(findPeak(k, plan, r, 1, 0).lagFrames).toBeCloseTo(-7, 5);
    k.release(mark);
  });

  const cases: [number, Whitening, number][] = [[2, 'phase', 1], [3, 'phase', 2], [4, 'none', 1], [5, 'root', 4], [8, 'phase', 1], [16, 'phase', 1]];
  it.each(cases)('agrees with the definition for every pair of %i tracks, whitening %s, upsampling %i', (trackCount, whitening, upsample) => {
    const mark = k.mark();
    const shared = makeNoise(420, 3);
    const tracks = Array.from({ length: trackCount }, (_, t) => Float32Array.from(makeNoise(400, 100 + t), (v, i) => 0.3 * v + (1 + t) * shared[i + t]));
    const plan = createCorrelationPlan(k, { fftSize: 128, windowFrames: 100, hopFrames: 50, trackCount, whitening, maxLagFrames: 20, upsample, firstBin: 3, endBin: 65 });
    const weight = k.allocF32(65);
    k.f32(weight, 65).set(makeNoise(65, 5).map((v) => v + 0.6));
    const mask = k.allocF32(65 * 5);
    k.f32(mask, 65 * 5).set(makeNoise(65 * 5, 6).map((v) => (v > 0 ? 1 : 0.25)));
    const weights = k.f32(weight, 65).slice();
    const masks = k.f32(mask, 65 * 5).slice();
    const r = correlateRegion(k, plan, placeTracks(k, tracks), 20, 300, { weight, mask });
    expect(r.lagCount).toBe(40 * upsample + 1);
    const spectra = tracks.map((x) => referenceStft(x, referenceHann(100, false), 128, 20, 50, 5));
    const exponent = { none: 0, root: 0.5, phase: 1 }[whitening];
    for (let i = 0; i < trackCount; i++) {
      for (let j = i + 1; j < trackCount; j++) {
        const reference = referencePairCorrelation(spectra[i], spectra[j], 128, exponent, (b) => (b < 3 ? 0 : weights[b]), (s, b) => masks[65 * s + b], upsample, 20 * upsample);
        const p = pairIndex(i, j, trackCount);
        expect(largestDifference(r.values.subarray(p * r.lagCount, (p + 1) * r.lagCount), reference)).toBeLessThan(3e-6);
      }
    }
    k.release(mark);
  });

  it('gives the same over one chunk of windows and over many', () => {
    const mark = k.mark();
    const shared = makeNoise(9001, 3);
    const region = placeTracks(k, [makeNoise(9000, 1), makeNoise(9000, 2)].map((v, t) => v.map((x, i) => x + shared[i + t])));
    const plan = createCorrelationPlan(k, { fftSize: 64, windowFrames: 48, hopFrames: 24, trackCount: 2, whitening: 'phase', maxLagFrames: 8 });
    const many = correlateRegion(k, plan, region, 0, 9000).values.slice();
    const sum = new Float64Array(many.length);
    // Equal counts of windows with equal energies: the whole is the mean of the parts.
    for (let part = 0; part < 11; part++) correlateRegion(k, plan, region, part * 24 * 34, 0, { spectrumCount: 34 }).values.forEach((v, i) => (sum[i] += v / 11));
    expect(largestDifference(many, sum)).toBeLessThan(1e-6);
    k.release(mark);
  });

  it.each([2, 5, 9])('sums more spectra than a block holds, bit for bit as piece by piece, for %i tracks', (trackCount) => {
    const mark = k.mark();
    const binCount = 33, spectrumCount = 130, groups = Math.ceil(trackCount / 4);
    const spectra = allocGuarded(k, spectrumCount * binCount * groups * 8), mask = allocGuarded(k, spectrumCount * binCount), scratch = allocGuarded(k, k.fn.crossScratchBytes(trackCount) / 4);
    spectra.values.set(makeNoise(spectra.values.length, 77));
    mask.values.set(makeNoise(mask.values.length, 78).map(Math.abs));
    const sum = (edges: number[]): number[] => {
      const cross = allocGuarded(k, 2 * groups * groups * binCount * 8), auto = allocGuarded(k, binCount * groups * 4);
      for (const block of [cross, auto]) block.values.fill(0);
      edges.slice(1).forEach((end, n) => k.fn.addCrossSpectra(
        spectra.ptr + edges[n] * binCount * groups * 32, end - edges[n], binCount, trackCount, 2, 31, 1, mask.ptr + edges[n] * binCount * 4, scratch.ptr, cross.ptr, auto.ptr,
      ));
      for (const block of [cross, auto, scratch]) block.expectIntact();
      return [...cross.values, ...auto.values];
    };
    const whole = sum([0, spectrumCount]);
    expect(Math.max(...whole)).toBeGreaterThan(1);
    expect(sum([0, 1, 65, spectrumCount])).toEqual(whole);
    k.release(mark);
  });

  it('writes nothing but the lags', () => {
    const mark = k.mark();
    const plan = createCorrelationPlan(k, { fftSize: 64, hopFrames: 32, trackCount: 5, whitening: 'phase', maxLagFrames: 32 });
    const out = allocGuarded(k, 10 * 65);
    correlateRegion(k, { ...plan, out: out.ptr }, placeTracks(k, [1, 2, 3, 4, 5].map((s) => makeNoise(200, s))), 0, 200);
    out.expectIntact();
    expect(out.values.every((v) => Math.abs(v) <= 1.000001)).toBe(true);
    k.release(mark);
  });

  it('gives zero for silence and denormals, and passes over windows with NaN', () => {
    const mark = k.mark();
    const x = Float32Array.from(makeNoise(640));
    const y = Float32Array.from(x, (_, i) => (i < 5 ? 0 : x[i - 5]));
    const spoilt = y.slice();
    spoilt[100] = NaN;
    const tracks = [x, y, spoilt, new Float32Array(640), new Float32Array(640).fill(1e-42)];
    const plan = createCorrelationPlan(k, { fftSize: 128, windowFrames: 96, hopFrames: 48, trackCount: 5, whitening: 'phase', maxLagFrames: 16 });
    const r = correlateRegion(k, plan, placeTracks(k, tracks), 0, 640);
    expect(r.values.every(Number.isFinite)).toBe(true);
    expect(findPeak(k, plan, r, 0, 1).lagFrames).toBeCloseTo(5, 1);
    expect(findPeak(k, plan, r, 0, 2).lagFrames).toBeCloseTo(5, 1);
    for (const silent of [3, 4]) {
      const p = pairIndex(0, silent, 5);
      expect(largestMagnitude(r.values.subarray(p * r.lagCount, (p + 1) * r.lagCount))).toBe(0);
      expect(findPeak(k, plan, r, 0, silent)).toEqual({ lagFrames: NaN, value: 0, otherValue: 0 });
    }
    k.release(mark);
  });

  it('does not change with the gain of a track, from 1e-6 to full scale', () => {
    const mark = k.mark();
    const x = makeNoise(400);
    const y = x.map((_, i) => (x[i - 3] ?? 0) + 0.2 * makeNoise(400, 9)[i]);
    const plan = createCorrelationPlan(k, { fftSize: 128, windowFrames: 96, hopFrames: 48, trackCount: 2, whitening: 'phase', maxLagFrames: 16 });
    const loud = correlateRegion(k, plan, placeTracks(k, [x, y]), 0, 400).values.slice();
    const soft = correlateRegion(k, plan, placeTracks(k, [x, y.map((v) => v * 1e-6)]), 0, 400).values.slice();
    expect(largestDifference(loud, soft)).toBeLessThan(1e-6);
    k.release(mark);
  });

  it.each([0.1, 0.25, 0.4, 0.5, 3.3, -7.45])('finds a delay of %f frames in band-limited noise', (delay) => {
    const mark = k.mark();
    // A sum of cosines delays exactly at any fraction of a frame.
    const phases = makeNoise(400, 77);
    const make = (shift: number): Float64Array => Float64Array.from({ length: 2000 }, (_, i) => {
      let v = 0;
      for (let h = 0; h < 60; h++) v += Math.cos(2 * Math.PI * ((0.05 + 0.003 * h + 0.0007 * phases[h]) * (i - shift) + phases[h + 100]));
      return v / 60;
    });
    const plan = createCorrelationPlan(k, {
      fftSize: 512, windowFrames: 400, hopFrames: 200, trackCount: 2, whitening: 'phase', maxLagFrames: 32, upsample: 4, firstBin: 24, endBin: 122,
    });
    const r = correlateRegion(k, plan, placeTracks(k, [make(0), make(delay)]), 0, 2000);
    // Windows that move against the sound bias the phase a little; at a quarter frame steps interpolation itself is below 1e-3.
    expect(Math.abs(findPeak(k, plan, r, 0, 1).lagFrames - delay)).toBeLessThan(0.02);
    k.release(mark);
  });

  it('takes new weights over the same sums', () => {
    const mark = k.mark();
    const region = placeTracks(k, [makeNoise(300, 1), makeNoise(300, 2)]);
    const plan = createCorrelationPlan(k, { fftSize: 64, hopFrames: 32, trackCount: 2, whitening: 'phase', maxLagFrames: 8 });
    const weight = k.allocF32(33);
    k.f32(weight, 33).fill(0);
    const all = correlateRegion(k, plan, region, 0, 300).values.slice();
    expect(largestMagnitude(correlateSums(k, plan, weight).values)).toBe(0);
    k.f32(weight, 33).fill(3);
    expect(largestDifference(correlateSums(k, plan, weight).values, all)).toBeLessThan(1e-6);
    k.release(mark);
  });

  it('refuses plans that do not fit', () => {
    const base = { fftSize: 1024, hopFrames: 512, trackCount: 4, whitening: 'phase' as const, maxLagFrames: 100 };
    expect(() => createCorrelationPlan(k, { ...base, upsample: 16 })).toThrow(/upsampled/);
    expect(() => createCorrelationPlan(k, { ...base, maxLagFrames: 513 })).toThrow(/largest lag/);
    expect(() => createCorrelationPlan(k, { ...base, trackCount: 17 })).toThrow(/number of tracks/);
    expect(() => createCorrelationPlan(k, { ...base, endBin: 514 })).toThrow(/bins/);
    expect(() => createCorrelationPlan(k, { ...base, fftSize: 1000 })).toThrow(/size/);
  });
});
