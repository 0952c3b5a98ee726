import { beforeAll, describe, expect, it } from 'vitest';
import { clearBandFilter, createBandFilter, estimateNoiseFloor, filterRegion, writeEnvelope } from '../../src/kernels/band.js';
import { designButterworth } from '../../src/kernels/filter-design.js';
import type { Kernels } from '../../src/kernels/kernels.js';
import { referenceFilter, referenceHopEnergy, referenceSmoothEnergy } from '../reference/biquad.js';
import { referenceNoiseFloor } from '../reference/noise-floor.js';
import { allocGuarded, largestDifference, largestMagnitude, makeNoise, openKernels, placeTracks } from './support.js';

let k: Kernels;
beforeAll(async () => {
  k = await openKernels();
});

const BAND = designButterworth({ kind: 'bandpass', order: 4, lowHz: 2000, highHz: 8000 }, 44100);

describe('filtered tracks', () => {
  it('begin with the impulse response of scipy.signal.sosfilt (scipy 1.17)', () => {
    const mark = k.mark();
    const f = createBandFilter(k, { sos: BAND, trackCount: 1, hopFrames: 64 });
    const out = allocGuarded(k, 6);
    filterRegion(k, f, placeTracks(k, [[1, 0, 0, 0, 0, 0]]), out.ptr, 6);
    expect(largestDifference(out.values, [0.0135012848, 0.0650334036, 0.1146521365, 0.0513329334, -0.1344552391, -0.2791882188])).toBeLessThan(1e-6);
    out.expectIntact();
    k.release(mark);
  });

  const shapes: [number, number][] = [[1, 1], [2, 2], [3, 3], [4, 4], [5, 5], [8, 2], [16, 4]];
  it.each(shapes)('agree with the plain recursion: %i tracks, order %i, any block and any cut of the stream', (trackCount, order) => {
    const mark = k.mark();
    const sos = designButterworth({ kind: 'bandpass', order, lowHz: 900, highHz: 9000 }, 48000);
    const tracks = Array.from({ length: trackCount }, (_, t) => Float32Array.from(makeNoise(1000, 11 + t)));
    const region = placeTracks(k, tracks);
    for (const [hopFrames, cut] of [[64, 1000], [48, 480], [7, 333], [1000, 1]]) {
      const f = createBandFilter(k, { sos, trackCount, hopFrames });
      const out = allocGuarded(k, trackCount * 1003 - 3);
      for (let start = 0; start < 1000; start += cut) {
        const part = { ...region, signal: region.signal + 4 * start, frameCount: Math.min(cut, 1000 - start) };
        filterRegion(k, f, part, out.ptr + 4 * start, 1003);
      }
      out.expectIntact();
      tracks.forEach((x, t) => {
        // f32 sections with poles about 0.1 inside the circle: a few hundred roundings of 2^-24.
        expect(largestDifference(out.values.subarray(t * 1003, t * 1003 + 1000), referenceFilter(x, sos))).toBeLessThan(1e-5);
        if (t > 0) expect(out.values[t * 1003 - 1]).toBe(-12345.5);
      });
    }
    k.release(mark);
  });

  it.each(Array.from({ length: 67 }, (_, i) => i + 1))('are right for %i frames, in place', (frameCount) => {
    const mark = k.mark();
    const x = Float32Array.from(makeNoise(frameCount, frameCount));
    const region = placeTracks(k, [x, x]);
    const f = createBandFilter(k, { sos: BAND, trackCount: 2, hopFrames: 16 });
    filterRegion(k, f, region, region.signal, region.trackStrideFrames);
    const all = k.f32(region.signal, 2 * region.trackStrideFrames);
    expect(largestDifference(all.subarray(frameCount + 1, 2 * frameCount + 1), referenceFilter(x, BAND))).toBeLessThan(1e-5);
    expect(all[frameCount]).toBeNaN();
    k.release(mark);
  });

  it('spoil one block of one track for a NaN, and keep no denormals in silence', () => {
    const mark = k.mark();
    const x = Float32Array.from(makeNoise(1024));
    const y = x.slice();
    y[200] = NaN;
    const silentTail = x.map((v, i) => (i < 256 ? v : 0));
    const f = createBandFilter(k, { sos: BAND, trackCount: 3, hopFrames: 128 });
    const out = allocGuarded(k, 3 * 1024);
    filterRegion(k, f, placeTracks(k, [x, y, silentTail]), out.ptr, 1024);
    expect(largestDifference(out.values.subarray(0, 1024), referenceFilter(x, BAND))).toBeLessThan(1e-5);
    for (let i = 0; i < 1024; i++) expect(Number.isNaN(out.values[1024 + i])).toBe(i >= 200 && i < 256);
    // Filter and clean copy agree again once the ringing of the lost state has died down.
    expect(largestDifference(out.values.subarray(1024 + 800, 2048), out.values.subarray(800, 1024))).toBeLessThan(1e-4);
    expect(largestMagnitude(out.values.subarray(2048 + 896, 3072))).toBe(0);
    k.release(mark);
  });

  it('stay silent for denormal input and finite for full scale', () => {
    const mark = k.mark();
    const f = createBandFilter(k, { sos: BAND, trackCount: 2, hopFrames: 64 });
    const square = Float32Array.from({ length: 4096 }, (_, i) => (i % 10 < 5 ? 1 : -1));
    const out = allocGuarded(k, 2 * 4096);
    filterRegion(k, f, placeTracks(k, [new Float32Array(4096).fill(1e-40), square]), out.ptr, 4096);
    expect(largestMagnitude(out.values.subarray(0, 4096))).toBe(0);
    expect(largestDifference(out.values.subarray(4096), referenceFilter(square, BAND))).toBeLessThan(1e-5);
    k.release(mark);
  });
});

describe('energy of a band', () => {
  it.each([[1, 1], [3, 7], [4, 48], [8, 100], [16, 33]])('agrees with the plain loops: %i tracks, hop %i, ragged end, streamed', (trackCount, hopFrames) => {
    const mark = k.mark();
    const tracks = Array.from({ length: trackCount }, (_, t) => Float32Array.from(makeNoise(1010, 500 + t)));
    const region = placeTracks(k, tracks);
    for (const smoothing of [0, 0.05]) {
      const f = createBandFilter(k, { sos: BAND, trackCount, hopFrames, smoothing });
      const hops = Math.ceil(1010 / hopFrames);
      const out = allocGuarded(k, trackCount * hops);
      const cut = 4 * hopFrames;
      for (let start = 0; start < 1010; start += cut) {
        const part = { ...region, signal: region.signal + 4 * start, frameCount: Math.min(cut, 1010 - start) };
        writeEnvelope(k, f, part, out.ptr + (4 * start) / hopFrames, hops);
      }
      out.expectIntact();
      tracks.forEach((x, t) => {
        const y = referenceFilter(x, BAND);
        const reference = smoothing ? referenceSmoothEnergy(y, hopFrames, smoothing) : referenceHopEnergy(y, hopFrames);
        expect(largestDifference(out.values.subarray(t * hops, (t + 1) * hops), reference)).toBeLessThan(3e-6);
      });
    }
    k.release(mark);
  });

  it('follows the square of a modulation, |hilbert(m c)| = m (Bedrosian identity)', () => {
    const mark = k.mark();
    const m = (i: number): number => 1 + 0.5 * Math.cos((2 * Math.PI * 4 * i) / 256);
    const x = Float32Array.from({ length: 256 }, (_, i) => m(i) * Math.cos((2 * Math.PI * 64 * i) / 256));
    const f = createBandFilter(k, { sos: [], trackCount: 1, hopFrames: 4 });
    const out = allocGuarded(k, 64);
    writeEnvelope(k, f, placeTracks(k, [x]), out.ptr, 64);
    // The carrier is 1, 0, -1, 0: a hop holds the squares of m at its first and third frame, twice the mean of m^2 / 2.
    out.values.forEach((v, h) => expect(v).toBeCloseTo((m(4 * h) ** 2 + m(4 * h + 2) ** 2) / 4, 6));
    k.release(mark);
  });

  it('measures a sine in the band at half its squared amplitude and rejects one outside', () => {
    const mark = k.mark();
    const sine = (freqHz: number): Float32Array => Float32Array.from({ length: 44100 }, (_, i) => 0.5 * Math.sin((2 * Math.PI * freqHz * i) / 44100));
    const f = createBandFilter(k, { sos: BAND, trackCount: 2, hopFrames: 441 });
    const out = allocGuarded(k, 200);
    writeEnvelope(k, f, placeTracks(k, [sine(4000), sine(200)]), out.ptr, 100);
    expect(out.values[99]).toBeCloseTo(0.125, 4);
    expect(10 * Math.log10(out.values[199] / 0.125)).toBeLessThan(-75);
    k.release(mark);
  });

  it('spoils one hop for a NaN or an infinity, and forgets when cleared', () => {
    const mark = k.mark();
    const x = Float32Array.from(makeNoise(640));
    x[100] = NaN;
    x[300] = Infinity;
    for (const smoothing of [0, 0.1]) {
      const f = createBandFilter(k, { sos: BAND, trackCount: 1, hopFrames: 64, smoothing });
      const region = placeTracks(k, [x]);
      const out = allocGuarded(k, 10);
      writeEnvelope(k, f, region, out.ptr, 10);
      out.values.forEach((v, h) => expect(Number.isFinite(v)).toBe(h !== 1 && h !== 4));
      const first = out.values.slice();
      clearBandFilter(k, f);
      writeEnvelope(k, f, region, out.ptr, 10);
      expect(Array.from(out.values)).toEqual(Array.from(first));
    }
    k.release(mark);
  });
});

describe('noise floor', () => {
  it('gives the quantiles of numpy.quantile (numpy, linear method) and the inner values of scipy.signal.medfilt', () => {
    const values = [3, 1, 4, 1.5, 9, 2.6, 5.3];
    [[0.1, 1.3], [0.2, 1.72], [0.5, 3], [0.75, 4.65]].forEach(([quantile, expected]) => {
      expect(estimateNoiseFloor(k, values, { blockHops: 7, quantile })[0]).toBeCloseTo(expected, 6);
    });
    const filtered = estimateNoiseFloor(k, [1, 5, 2, 8, 3, 9, 4], { blockHops: 1, radiusBlocks: 1 });
    expect(Array.from(filtered.subarray(1, 6))).toEqual([2, 5, 3, 8, 4]);
  });

  it.each([1, 2, 3, 10, 50, 67, 300])('agrees with sorting for %i hops', (count) => {
    const energies = Float32Array.from(makeNoise(count, 5 + count), (v, i) => (i % 11 === 3 ? 0 : i % 13 === 5 ? NaN : v + (i % 7 === 0 ? -0.5 : 0.5)));
    for (const [blockHops, quantile, radiusBlocks] of [[1, 0.2, 0], [7, 0, 1], [16, 0.2, 2], [64, 0.35, 5], [1000, 1, 1]]) {
      const floor = estimateNoiseFloor(k, energies, { blockHops, quantile, radiusBlocks });
      expect(largestDifference(floor, referenceNoiseFloor(energies, blockHops, quantile, radiusBlocks))).toBeLessThan(1e-6);
    }
  });

  it('hardly moves for loud calls in a third of the time', () => {
    const noise = makeNoise(4000, 3).map((v) => 1e-4 * (1 + v));
    const withCalls = noise.map((v, i) => (i % 30 < 10 ? v + 1 : v));
    const quiet = estimateNoiseFloor(k, noise, { blockHops: 500 });
    const busy = estimateNoiseFloor(k, withCalls, { blockHops: 500 });
    // The 20 % quantile of all is the 30 % quantile of the quiet two thirds: 0.8 against 0.7 of this uniform noise, 0.58 dB, +- 0.25 dB
    // for the scatter of quantiles of 500 values.
    quiet.forEach((v, b) => expect(Math.abs(10 * Math.log10(busy[b] / v) - 0.58)).toBeLessThan(0.25));
  });

  it('is 0 where nothing is known, and writes nothing else', () => {
    expect(Array.from(estimateNoiseFloor(k, [0, 0, NaN, Infinity], { blockHops: 2 }))).toEqual([0, 0]);
    expect(estimateNoiseFloor(k, [], { blockHops: 2 }).length).toBe(0);
    const mark = k.mark();
    const energy = k.allocF32(10);
    k.f32(energy, 10).fill(2);
    const scratch = allocGuarded(k, 3 + 4);
    const floor = allocGuarded(k, 4);
    k.fn.noiseFloor(energy, 10, 3, 0.2, 1, scratch.ptr, floor.ptr);
    scratch.expectIntact();
    floor.expectIntact();
    expect(Array.from(floor.values)).toEqual([2, 2, 2, 2]);
    k.release(mark);
  });
});
