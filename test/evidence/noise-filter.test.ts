import { describe, expect, it } from 'vitest';
import { countEngineBytes, createKernelEngine } from '../../src/evidence/kernel-engine.js';
import { countTaps, designNoiseFilter, measureGain, predictError } from '../../src/evidence/noise-filter.js';
import { resolveSettings } from '../../src/evidence/settings.js';
import { createKernels } from '../../src/kernels/kernels.js';
import { loadKernelsFile } from '../../src/node/kernels-file.js';
import { referenceFilter } from '../reference/lane-filter.js';
import { makeNoise } from '../kernels/support.js';
import { computeBandResponse, designBand } from '../../src/kernels/survey-kernels.js';

const settings = resolveSettings(48000);
const binCount = settings.fftSize / 2 + 1, binHz = 48000 / settings.fftSize, tapCount = countTaps(settings.fftSize);
const response = computeBandResponse(designBand(settings.bandHz, 48000), settings.fftSize);
const makeFloor = (level: (freqHz: number) => number): Float32Array => Float32Array.from({ length: binCount }, (_, b) => 1e-8 * level(b * binHz));
const design = (...floors: Float32Array[]): Float32Array => designNoiseFilter(floors, settings.bandBins, response, tapCount);
const sumBand = (floor: Float32Array, gain: ArrayLike<number> = new Float64Array(binCount).fill(1)): number => floor.reduce((s, v, b) => s + v * gain[b] * response[b], 0);

describe('prediction error', () => {
  it('finds the coefficients of an autoregressive process from its exact autocorrelation', () => {
    // x[n] = 1.2 x[n-1] - .8 x[n-2] + e[n]: Yule-Walker gives r1 = r0 1.2 / 1.8, r[m] = 1.2 r[m-1] - .8 r[m-2] (Box & Jenkins 3.2).
    const r = [1, 1.2 / 1.8];
    for (let m = 2; m < 8; m++) r.push(1.2 * r[m - 1] - 0.8 * r[m - 2]);
    const a = predictError(r);
    [1, -1.2, 0.8, 0, 0, 0, 0, 0].forEach((v, k) => expect(a[k]).toBeCloseTo(v, 12));
  });

  it('solves the normal equations', () => {
    const r = [5, 2.5, -1, 0.7, 1.9, -0.4];
    const a = predictError(r);
    // What is predicted is orthogonal to what it is predicted from.
    for (let m = 1; m < r.length; m++) expect(a.reduce((s, v, k) => s + v * r[Math.abs(m - k)], 0)).toBeCloseTo(0, 12);
  });
});

describe('noise filter', () => {
  it('is none for even noise, noise that falls gently, a wideband rise and tracks without sound', () => {
    expect(design(makeFloor(() => 1))).toHaveLength(0);
    expect(design(makeFloor((f) => 2000 / (f + 2000)))).toHaveLength(0);
    expect(design(makeFloor(() => 1), makeFloor(() => 1e5))).toHaveLength(0);
    expect(design(new Float32Array(0), makeFloor(() => 1))).toHaveLength(0);
    expect(design(new Float32Array(0), new Float32Array(0))).toHaveLength(0);
  });

  it('takes a whistle, a fan, mains and a slope out, and leaves the rest of the band as it was', () => {
    const cases: [string, (f: number) => number][] = [
      ['whistle', (f) => (Math.abs(f - 3000) < 1.6 * binHz ? 1e4 : 1)],
      ['fan', (f) => (f > 400 && f < 900 ? 1e4 : 1)],
      ['mains', (f) => 1 + (f < 250 ? 3e6 : 0)],
      ['slope', (f) => 1 + (12000 / (f + 300)) ** 2],
    ];
    for (const [name, level] of cases) {
      const floor = makeFloor(level), taps = design(floor), gain = measureGain(taps, binCount);
      expect(taps, name).toHaveLength(tapCount);
      const median = [...floor.subarray(...settings.bandBins)].sort((x, y) => x - y)[(settings.bandBins[1] - settings.bandBins[0]) >> 1];
      const even = makeFloor(() => median * 1e8);
      const before = 10 * Math.log10(sumBand(floor) / sumBand(even)), after = 10 * Math.log10(sumBand(floor, gain) / sumBand(even));
      expect(before, name).toBeGreaterThan(4);
      // What is left may stand 3 dB over the median everywhere.
      expect(after, name).toBeLessThan(4.5);
      if (name === 'slope') continue;
      for (let b = settings.bandBins[0]; b < settings.bandBins[1]; b++) {
        // Further from what is taken out than the resolution of the taps, 48000 / 32 = 1500 Hz.
        const [low, high] = name === 'whistle' ? [3000, 3000] : name === 'fan' ? [400, 900] : [0, 250];
        if (b * binHz > low - 1500 && b * binHz < high + 1500) continue;
        expect(Math.abs(10 * Math.log10(gain[b])), `${name} at ${b * binHz} Hz`).toBeLessThan(3);
      }
    }
  });

  it('does not go by a dead channel, whatever its converter leaves there', () => {
    const dead = makeFloor((f) => (Math.abs(f - 3000) < 1.6 * binHz ? 1e2 : 1)).map((v) => 1e-6 * v);
    expect(design(makeFloor(() => 1), dead)).toHaveLength(0);
    expect(design(makeFloor(() => 1), dead.map((v) => 1e3 * v))).toHaveLength(tapCount);
  });

  it('goes by the track that is worst', () => {
    const quiet = makeFloor(() => 1), loud = makeFloor((f) => (Math.abs(f - 3000) < 1.6 * binHz ? 1e3 : 1));
    const gain = measureGain(design(quiet, loud, quiet), binCount);
    expect(10 * Math.log10(gain[Math.round(3000 / binHz)])).toBeLessThan(-20);
    expect(Array.from(design(loud, quiet))).toEqual(Array.from(design(quiet, loud)));
  });

  it('counts noise below the band by what of it leaks into levels', () => {
    const rumble = (db: number): Float32Array => makeFloor((f) => (f < 100 ? 10 ** (db / 10) : 1));
    expect(design(rumble(20))).toHaveLength(0);
    expect(design(rumble(70))).toHaveLength(tapCount);
  });
});

describe('a filtered stretch', () => {
  const frameCount = 5000, taps = Float32Array.from([1, -1.1, 0.6, 0.2, -0.3, 0, 0.1, 0.05]);

  it('holds the filtered tracks, and silence for the filter to settle where sound begins or ends', async () => {
    const k = createKernels(await loadKernelsFile(), countEngineBytes(settings, 6, frameCount));
    const engine = createKernelEngine(k, settings);
    const tracks = Array.from({ length: 6 }, (_, j) => Float32Array.from(makeNoise(frameCount, 40 + j)));
    // Track 1 has a hole, 4 begins late, 5 holds nothing.
    tracks[1].fill(0, 2000, 2400);
    tracks[4].fill(0, 0, 700);
    tracks[5].fill(0);
    const region = engine.placeStretch(6, frameCount);
    const at = (j: number, i: number): number => region.lanes / 4 + ((j >> 2) * region.groupBytes) / 4 + 4 * i + (j & 3);
    const memory = k.f32(0, (region.lanes + 2 * region.groupBytes) / 4);
    for (let i = 0; i < frameCount; i++) for (let j = 0; j < 8; j++) memory[at(j, i)] = tracks[j]?.[i] ?? 0;
    // Pieces of one track that touch, as they are read chunk by chunk, are one.
    engine.filterPlaced(taps, [
      ...[0, 2, 3].flatMap((trackIndex) => [{ trackIndex, fromFrame: 0, toFrame: 3000 }, { trackIndex, fromFrame: 3000, toFrame: frameCount }]),
      { trackIndex: 1, fromFrame: 0, toFrame: 2000 }, { trackIndex: 1, fromFrame: 2400, toFrame: frameCount }, { trackIndex: 4, fromFrame: 700, toFrame: frameCount },
    ]);
    const steps = [[0], [0, 2000, 2400], [0], [0], [700], []];
    tracks.forEach((x, j) => {
      const want = referenceFilter(x, taps);
      for (const step of steps[j]) want.fill(0, step, step + taps.length - 1);
      let most = 0;
      for (let i = 0; i < frameCount; i++) most = Math.max(most, Math.abs(memory[at(j, i)] - want[i]));
      // Eight products below .6 in f32.
      expect(most, `track ${j}`).toBeLessThan(1e-6);
    });
  });

  it('is left as it is without a filter', async () => {
    const k = createKernels(await loadKernelsFile(), countEngineBytes(settings, 1, frameCount));
    const engine = createKernelEngine(k, settings);
    const x = Float32Array.from(makeNoise(frameCount, 8));
    const before = engine.analyse([x], frameCount).power[0].slice();
    engine.filterPlaced(new Float32Array(0), [{ trackIndex: 0, fromFrame: 0, toFrame: frameCount }]);
    expect(engine.analysePlaced().power[0].every((v, i) => v === before[i])).toBe(true);
  });
});
