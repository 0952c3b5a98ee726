import { describe, expect, it } from 'vitest';
import { RandomWords } from '../../src/score/random.js';
import { measureSeparation, measureSiSdr, measureSiSnr, measureSnr } from '../../src/score/separation-measures.js';

const noise = (seed: number, length: number): Float64Array => {
  const random = new RandomWords(seed);
  return Float64Array.from({ length }, () => random.nextUnit() - 0.5);
};
const mix = (...parts: [number, ArrayLike<number>][]): Float64Array =>
  Float64Array.from({ length: parts[0][1].length }, (_, i) => parts.reduce((sum, [gain, x]) => sum + gain * x[i], 0));
/** Orthonormal: rows of a Hadamard matrix. */
const BASIS = [[1, 1, 1, 1], [1, -1, 1, -1], [1, 1, -1, -1], [1, -1, -1, 1]].map((row) => row.map((x) => x / 2));
const power = (db: number): number => 10 ** (db / 10);

describe('scale-invariant ratios', () => {
  // The example of the torchmetrics documentation: SI-SDR 18.4030, SI-SNR 15.0918, SNR 16.1805 dB.
  const reference = [3, -0.5, 2, 7];
  const estimate = [2.5, 0, 2, 8];

  it('have the documented values', () => {
    expect(Math.abs(measureSiSdr(estimate, reference) - 18.403)).toBeLessThan(5e-5);
    expect(Math.abs(measureSiSnr(estimate, reference) - 15.0918)).toBeLessThan(5e-5);
    expect(Math.abs(measureSnr(estimate, reference) - 16.1805)).toBeLessThan(5e-5);
  });

  it('do not change with the scale', () => {
    // Le Roux et al. (2019), definition: 20 dB in closed form here.
    for (const gain of [1, 5, -3]) {
      expect(measureSiSdr([1.1, 0.9, 1.1, 0.9].map((x) => gain * x), [1, 1, 1, 1])).toBeCloseTo(20, 9);
    }
  });

  it('follow the closed forms of correlation and leak', () => {
    for (const [rho, db] of [[0.9, 6.2973], [0.5, -4.7712]]) {
      const value = measureSiSdr(mix([rho, BASIS[0]], [Math.sqrt(1 - rho * rho), BASIS[1]]), BASIS[0]);
      expect(value).toBeCloseTo(10 * Math.log10(rho ** 2 / (1 - rho ** 2)), 9);
      expect(Math.abs(value - db)).toBeLessThan(5e-5);
    }
    expect(measureSiSdr(mix([1, BASIS[0]], [0.05, BASIS[1]]), BASIS[0])).toBeCloseTo(-20 * Math.log10(0.05), 9);
    // Far above what a difference of powers could resolve.
    expect(measureSiSdr(mix([1, BASIS[0]], [1e-10, BASIS[1]]), BASIS[0])).toBeCloseTo(200, 3);
  });

  it('tell perfection, absence and silence apart', () => {
    expect(measureSiSdr([2, 4], [1, 2])).toBe(Infinity);
    expect(measureSiSdr(BASIS[1], BASIS[0])).toBe(-Infinity);
    expect(measureSiSdr([0, 0], [1, 2])).toBeNaN();
    expect(measureSiSdr([1, 2], [0, 0])).toBeNaN();
    expect(() => measureSiSdr([1], [1, 2])).toThrow(RangeError);
  });
});

describe('measureSeparation', () => {
  // Vincent, Gribonval & Févotte (2006), closed forms for orthonormal parts.
  it.each([[[1, 0.1, 0.05], [19.0309, 20, 26.0638]], [[1, 0.3, 0.1], [10, 10.4576, 20.3743]]])('of coefficients %j', (c, [sdr, sir, sar]) => {
    const ratios = measureSeparation(mix([c[0], BASIS[0]], [c[1], BASIS[1]], [c[2], BASIS[2]]), [BASIS[0], BASIS[1]], 0);
    expect(Math.abs(ratios.sdrDb - sdr)).toBeLessThan(5.001e-5);
    expect(Math.abs(ratios.sirDb - sir)).toBeLessThan(5.001e-5);
    expect(Math.abs(ratios.sarDb - sar)).toBeLessThan(5.001e-5);
  });

  it('keeps the identity of its three ratios, with and without filters', () => {
    const sources = [noise(1, 400), noise(2, 400), noise(3, 400)];
    const estimate = mix([0.8, sources[0]], [0.3, sources[1]], [-0.2, sources[2]], [0.1, noise(4, 400)]);
    for (const taps of [1, 7]) {
      const { sdrDb, sirDb, sarDb } = measureSeparation(estimate, sources, 0, taps);
      expect(1 / power(sdrDb)).toBeCloseTo((1 + 1 / power(sirDb)) / power(sarDb) + 1 / power(sirDb), 10);
    }
  });

  it('forgives filters of the length given and no longer ones', () => {
    const sources = [noise(5, 500), noise(6, 500)];
    const delayed = Float64Array.from({ length: 500 }, (_, i) => (i >= 3 ? 0.7 * sources[0][i - 3] : 0) + 0.2 * sources[0][i]);
    // The delayed copy is cut at the end of the signal, so a small rest is left.
    expect(measureSeparation(delayed, sources, 0, 4).sdrDb).toBeGreaterThan(20);
    expect(measureSeparation(delayed, sources, 0, 3).sdrDb).toBeLessThan(0);
  });

  it('agrees with solving the least squares by orthogonalisation', () => {
    const sources = [noise(7, 60), noise(8, 60)];
    const estimate = mix([1, sources[0]], [0.5, sources[1]], [0.3, noise(9, 60)]);
    const taps = 3;
    const padded = [...estimate, 0, 0];
    const copies = sources.flatMap((s) => Array.from({ length: taps }, (_, d) => [...new Array(d).fill(0), ...s, ...new Array(taps - 1 - d).fill(0)] as number[]));
    const inner = (a: number[], b: number[]): number => a.reduce((sum, x, i) => sum + x * b[i], 0);
    const projectOn = (vectors: number[][]): number[] => {
      const basis: number[][] = [];
      for (const v of vectors) {
        const rest = basis.reduce((r, b) => { const k = inner(r, b); return r.map((x, i) => x - k * b[i]); }, v);
        const norm = Math.sqrt(inner(rest, rest));
        basis.push(rest.map((x) => x / norm));
      }
      return padded.map((_, i) => basis.reduce((sum, b) => sum + inner(padded, b) * b[i], 0));
    };
    const [target, all] = [projectOn(copies.slice(0, taps)), projectOn(copies)];
    const norm2 = (a: number[]): number => inner(a, a);
    const ratios = measureSeparation(estimate, sources, 0, taps);
    expect(ratios.sdrDb).toBeCloseTo(10 * Math.log10(norm2(target) / norm2(padded.map((x, i) => x - target[i]))), 8);
    expect(ratios.sirDb).toBeCloseTo(10 * Math.log10(norm2(target) / norm2(all.map((x, i) => x - target[i]))), 8);
    expect(ratios.sarDb).toBeCloseTo(10 * Math.log10(norm2(all) / norm2(padded.map((x, i) => x - all[i]))), 8);
  });

  it('survives a source given twice', () => {
    const source = noise(10, 100);
    const { sdrDb } = measureSeparation(mix([1, source], [0.1, noise(11, 100)]), [source, source, noise(12, 100)], 0);
    expect(sdrDb).toBeGreaterThan(15);
    expect(sdrDb).toBeLessThan(25);
  });
});
