import { describe, expect, it } from 'vitest';
import type { StretchSpectra } from '../../src/evidence/spectra.js';
import { analyse, estimateFloors, makeGaussian, RATE, settings } from './make-stretch.js';

// Frames a whole transform apart share no sample.
const frames = (s: StretchSpectra): number[] => Array.from({ length: Math.floor((s.frameCount - 8) / 4) }, (_, k) => 4 + 4 * k);
// At the lowest and highest bins the transform is real, and the median over five bins reaches there.
const inner = (floor: Float32Array): Float32Array => floor.subarray(4, floor.length - 4);
const mean = (x: Float32Array): number => x.reduce((a, v) => a + v, 0) / x.length;

describe('noise floors', () => {
  it('read the variance of white Gaussian noise in every bin, on every track', async () => {
    const deviations = [0.002, 0.02, 0.2];
    const s = await analyse(deviations.map((d, j) => makeGaussian(6 * RATE, 10 + j, d)));
    const at = frames(s);
    const floors = estimateFloors(s, at);
    // Standard error of the quantile q of n exponential values over the quantile: sqrt(q / (1 - q) / n) / -ln(1 - q) (asymptotic, Mood, Graybill
    // and Boes, Theory of Statistics, VI.5): 2.0 / sqrt(n) for q = 1/4, 9 % here. The mean over 500 bins has 500 / 5 independent medians at least.
    const error = Math.sqrt(1 / 3 / at.length) / Math.log(4 / 3);
    deviations.forEach((d, j) => {
      const ratio = Float32Array.from(inner(floors[j]), (v) => v / d ** 2);
      // Four standard errors, and the bias of the rank floor(q (n - 1)): half a rank of n / 4.
      expect(Math.abs(mean(ratio) - 1)).toBeLessThan(4 * error / Math.sqrt(ratio.length / 5) + 2 / at.length);
      for (const v of ratio) expect(Math.abs(v - 1)).toBeLessThan(5 * error);
    });
  });

  it('rise by a known 2.8 dB, no more, where 40 % of the time holds sound 40 dB louder', async () => {
    const noise = makeGaussian(6 * RATE, 3, 0.01);
    const loud = makeGaussian(6 * RATE, 4, 1);
    const s = await analyse([noise.map((v, n) => v + (n % RATE < 0.4 * RATE ? loud[n] : 0))]);
    const [floor] = estimateFloors(s, frames(s));
    // A quarter of all frames is 0.25 / 0.6 of the quiet ones: their quantile is -ln(1 - 0.4167) of the mean instead of -ln(1 - 0.25).
    // The edges of the loud stretches take 10 transforms of 510 more.
    const expected = Math.log(1 - 0.25 / 0.59) / Math.log(0.75);
    expect(10 * Math.log10(expected)).toBeCloseTo(2.8, 1);
    expect(Math.abs(mean(inner(floor)) / 1e-4 / expected - 1)).toBeLessThan(0.06);
  });

  it('never fall to nothing in digital silence', async () => {
    const s = await analyse([new Float32Array(RATE)]);
    const [floor] = estimateFloors(s, frames(s));
    for (const v of floor) expect(v).toBe(Math.fround(1e-14));
  });

  it('do not depend on the order of the frames', async () => {
    const s = await analyse([makeGaussian(RATE, 9, 0.1)]);
    const at = frames(s);
    expect(estimateFloors(s, [...at].reverse())).toEqual(estimateFloors(s, at));
  });

  it('see a coloured floor bin by bin', async () => {
    const white = makeGaussian(6 * RATE, 5, 0.01);
    // y[n] = x[n] + x[n-1]: power 4 cos^2(pi f / fs) times that of x.
    const s = await analyse([white.map((v, n) => v + (white[n - 1] ?? 0))]);
    const [floor] = estimateFloors(s, frames(s));
    for (const bin of [20, 100, 150]) {
      const expected = 1e-4 * 4 * Math.cos((Math.PI * bin) / settings.fftSize) ** 2;
      expect(Math.abs(10 * Math.log10(floor[bin] / expected))).toBeLessThan(1.5);
    }
  });
});
