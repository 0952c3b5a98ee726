import { beforeAll, describe, expect, it } from 'vitest';
import { compareTracks } from '../../src/kernels/compare-tracks.js';
import { pairIndex } from '../../src/kernels/correlation.js';
import { createCrossSums, sumRegion } from '../../src/kernels/cross-spectra.js';
import type { Kernels } from '../../src/kernels/kernels.js';
import { countWholeSpectra, createStftPlan } from '../../src/kernels/stft.js';
import { referenceBandPower, referenceCoherence, referenceDistanceDb, referenceLevelDb } from '../reference/compare-tracks.js';
import { referenceStft } from '../reference/stft.js';
import { referenceHann } from '../reference/window.js';
import { allocGuarded, makeNoise, openKernels, placeTracks } from './support.js';

let k: Kernels;
beforeAll(async () => {
  k = await openKernels();
});

function sumsOf(tracks: ArrayLike<number>[], fftSize: number, hopFrames: number) {
  const stft = createStftPlan(k, { fftSize, hopFrames });
  const sums = createCrossSums(k, stft, { trackCount: tracks.length, whitening: 'none' });
  const spectrumCount = countWholeSpectra(tracks[0].length, fftSize, hopFrames);
  sumRegion(k, sums, placeTracks(k, tracks), 0, spectrumCount);
  return { sums, spectrumCount };
}

describe('comparison of tracks', () => {
  it('gives the coherence of scipy.signal.coherence (scipy 1.17, hann, nperseg 128, noverlap 64, no detrending)', () => {
    const mark = k.mark();
    const a = Float32Array.from(makeNoise(2048));
    const b = Float32Array.from(makeNoise(2048, 42));
    const y = a.map((_, i) => 0.6 * (a[i - 2] ?? 0) + 0.5 * b[i]);
    const { sums } = sumsOf([a, y], 128, 64);
    const bands = [[1, 2], [10, 11], [20, 21], [40, 41], [5, 30]].map(([firstBin, endBin]) => ({ firstBin, endBin }));
    const { coherence } = compareTracks(k, sums, { bands });
    [0.596748041869711, 0.6313025156841096, 0.6680559008103188, 0.6409901700081608, 0.6250283793388077].forEach((v, i) => expect(coherence[i]).toBeCloseTo(v, 5));
    k.release(mark);
  });

  it.each([2, 3, 4, 5, 8, 16])('agrees with the plain loops for every pair of %i tracks, with noise taken off', (trackCount) => {
    const mark = k.mark();
    const shared = makeNoise(500, 1);
    const tracks = Array.from({ length: trackCount }, (_, t) => Float32Array.from(makeNoise(400, 60 + t), (v, i) => (t + 1) * 0.1 * (v + shared[i + t] + shared[i + 2 * t + 1])));
    const { sums, spectrumCount } = sumsOf(tracks, 64, 32);
    const noise = k.allocF32(trackCount * 33);
    const noiseValues = makeNoise(trackCount * 33, 8).map((v, i) => (v + 0.5) * 0.02 * (1 + Math.floor(i / 33)) ** 2);
    k.f32(noise, trackCount * 33).set(noiseValues);
    const bands = [{ firstBin: 2, endBin: 9 }, { firstBin: 0, endBin: 33 }];
    const result = compareTracks(k, sums, { bands, noise, spectrumCount });
    const spectra = tracks.map((x) => referenceStft(x, referenceHann(64, false), 64, 0, 32, spectrumCount));
    bands.forEach(({ firstBin, endBin }, band) => {
      const powers = spectra.map((s, t) => referenceBandPower(s, firstBin, endBin, noiseValues.subarray(33 * t)));
      for (let i = 0; i < trackCount; i++) {
        for (let j = i + 1; j < trackCount; j++) {
          const at = band * result.pairCount + pairIndex(i, j, trackCount);
          expect(result.coherence[at]).toBeCloseTo(referenceCoherence(spectra[i], spectra[j], firstBin, endBin), 4);
          expect(result.levelDb[at]).toBeCloseTo(referenceLevelDb(powers[i], powers[j]), 3);
          expect(result.distanceDb[at]).toBeCloseTo(referenceDistanceDb(powers[i], powers[j]), 2);
        }
      }
    });
    k.release(mark);
  });

  it('knows equal tracks, a gain of 20 dB, silence and NaN', () => {
    const mark = k.mark();
    const x = Float32Array.from(makeNoise(1000));
    const spoilt = x.slice();
    spoilt[5] = NaN;
    const { sums } = sumsOf([x, x, x.map((v) => 0.1 * v), new Float32Array(1000), new Float32Array(1000), spoilt], 64, 32);
    const r = compareTracks(k, sums, { bands: [{ firstBin: 1, endBin: 32 }] });
    const at = (i: number, j: number): number[] => [r.coherence, r.levelDb, r.distanceDb].map((v) => v[pairIndex(i, j, 6)]);
    expect(at(0, 1)[0]).toBeCloseTo(1, 6);
    expect(at(0, 1).slice(1)).toEqual([0, 0]);
    expect(at(0, 2)[0]).toBeCloseTo(1, 5);
    expect(at(0, 2)[1]).toBeCloseTo(20, 4);
    expect(at(0, 2)[2]).toBeLessThan(1e-4);
    expect(at(0, 3)[0]).toBe(0);
    expect(at(0, 3)[1]).toBe(120);
    expect(at(3, 4)).toEqual([0, 0, 0]);
    // One of 30 windows is lost: the rest is the same sound.
    expect(at(0, 5)[0]).toBeGreaterThan(0.9);
    expect(Math.abs(at(0, 5)[1])).toBeLessThan(0.3);
    for (const values of [r.coherence, r.levelDb, r.distanceDb]) expect(values.every(Number.isFinite)).toBe(true);
    k.release(mark);
  });

  it('writes only its results, and refuses whitened sums and foreign bands', () => {
    const mark = k.mark();
    const { sums } = sumsOf([1, 2, 3, 4, 5].map((s) => makeNoise(200, s)), 64, 32);
    const [coherence, level, distance] = [0, 1, 2].map(() => allocGuarded(k, 10));
    const scratch = k.alloc(4 * (5 * 33 + 16));
    k.fn.compareTracks(sums.cross, sums.auto, 5, 33, 0, 33, 0, 0, scratch, coherence.ptr, level.ptr, distance.ptr);
    for (const block of [coherence, level, distance]) block.expectIntact();
    expect(() => compareTracks(k, { ...sums, whitening: 'phase' }, { bands: [] })).toThrow(/whitened/);
    expect(() => compareTracks(k, sums, { bands: [{ firstBin: 0, endBin: 34 }] })).toThrow(/band/);
    k.release(mark);
  });
});
