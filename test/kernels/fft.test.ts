import { beforeAll, describe, expect, it } from 'vitest';
import type { Kernels } from '../../src/kernels/kernels.js';
import { referenceRealDft } from '../reference/dft.js';
import { allocGuarded, largestDifference, largestMagnitude, makeNoise, openKernels } from './support.js';

let k: Kernels;
beforeAll(async () => {
  k = await openKernels();
});

const SIZES = [8, 16, 32, 64, 128, 256, 512, 1024, 2048, 4096, 8192];
const F32_EPS = 2 ** -24;

/** Transforms four rows; returns interleaved spectra per row and the memory for the inverse. */
function transform(rows: ArrayLike<number>[], strideBytes = 32) {
  const n = rows[0].length;
  const table = allocGuarded(k, k.fn.fftTableBytes(n) / 4);
  expect(k.fn.fftPrepare(n, table.ptr)).toBe(1);
  table.expectIntact();
  const lanes = allocGuarded(k, 4 * n);
  const work = allocGuarded(k, 4 * n);
  const spectrum = allocGuarded(k, (n / 2) * (strideBytes / 4) + 8);
  for (let i = 0; i < n; i++) for (let l = 0; l < 4; l++) lanes.values[4 * i + l] = rows[l][i];
  k.fn.fftForward(n, table.ptr, lanes.ptr, work.ptr, spectrum.ptr, strideBytes);
  const spectra = rows.map((_, l) => Float64Array.from({ length: n + 2 }, (__, j) => spectrum.values[(j >> 1) * (strideBytes / 4) + 4 * (j & 1) + l]));
  return { n, table, lanes, work, spectrum, spectra };
}

describe('real transform', () => {
  it('gives the transform of 1..8 (closed form, any text on the DFT)', () => {
    const mark = k.mark();
    const ramp = [1, 2, 3, 4, 5, 6, 7, 8];
    const { spectra } = transform([ramp, ramp, ramp, ramp]);
    const cot = [0, Math.SQRT2 + 1, 1, Math.SQRT2 - 1, 0];
    for (const s of spectra) {
      expect(s[0]).toBe(36);
      for (let b = 1; b <= 4; b++) {
        expect(s[2 * b]).toBeCloseTo(-4, 5);
        expect(s[2 * b + 1]).toBeCloseTo(4 * cot[b], 5);
      }
      // Parseval: 204 = sum |X|^2 / 8 with the inner bins counted twice.
      const energy = s.reduce((sum, v, j) => sum + v * v * (j < 2 || j >= 8 ? 1 : 2), 0) / 8;
      expect(energy).toBeCloseTo(204, 3);
    }
    k.release(mark);
  });

  it.each(SIZES)('agrees with the definition for %i points, four different lanes, any stride', (n) => {
    const mark = k.mark();
    const rows = [0, 1, 2, 3].map((l) => Float32Array.from(makeNoise(n, 1234567890 + 17 * l)));
    const reference = rows.map((r) => (n <= 2048 ? referenceRealDft(r) : undefined));
    for (const stride of [32, 96]) {
      const { spectra, spectrum, lanes, work } = transform(rows, stride);
      for (const block of [spectrum, lanes, work]) block.expectIntact();
      spectra.forEach((s, l) => {
        const ref = reference[l];
        // Error growth of the transform: a few roundings per stage on the root-mean-square output sqrt(n / 12).
        const tolerance = 3 * F32_EPS * Math.log2(n) * largestMagnitude(s);
        if (ref) expect(largestDifference(s, ref)).toBeLessThan(tolerance);
        else expect(largestDifference(sampleBins(s, n), sampleBinsOf(rows[l], n))).toBeLessThan(tolerance);
      });
    }
    k.release(mark);
  });

  it.each(SIZES)('comes back from the inverse for %i points', (n) => {
    const mark = k.mark();
    const rows = [0, 1, 2, 3].map((l) => Float32Array.from(makeNoise(n, 99991 + l)));
    const { table, spectrum, work, lanes } = transform(rows, 64);
    lanes.values.fill(NaN);
    k.fn.fftInverse(n, table.ptr, spectrum.ptr, 64, work.ptr, lanes.ptr);
    rows.forEach((r, l) => expect(largestDifference(r, r.map((_, i) => lanes.values[4 * i + l]))).toBeLessThan(4 * F32_EPS * Math.log2(n)));
    for (const block of [spectrum, lanes, work, table]) block.expectIntact();
    k.release(mark);
  });

  it('keeps a NaN and an infinity in their lanes', () => {
    const mark = k.mark();
    const clean = Float32Array.from(makeNoise(64));
    const spoilt = clean.slice();
    spoilt[5] = NaN;
    const infinite = clean.slice();
    infinite[0] = Infinity;
    const { spectra } = transform([clean, spoilt, clean, infinite]);
    expect(largestDifference(spectra[0], spectra[2])).toBe(0);
    expect(spectra[0].every(Number.isFinite)).toBe(true);
    expect(spectra[1].some(Number.isNaN)).toBe(true);
    expect(spectra[3].every(Number.isFinite)).toBe(false);
    k.release(mark);
  });

  it('refuses sizes it does not know', () => {
    for (const n of [0, -8, 1, 4, 7, 12, 1000, 16384]) {
      expect(k.fn.fftTableBytes(n)).toBe(0);
      expect(k.fn.fftPrepare(n, k.mark())).toBe(0);
    }
  });
});

const CHOSEN = [0, 1, 2, 3, 511, 1000, 1023, 1024, 1025, 2047];

function sampleBins(s: ArrayLike<number>, n: number): number[] {
  return [...CHOSEN, n / 2].flatMap((b) => [s[2 * b], s[2 * b + 1]]);
}

/** The same bins by the definition, without the whole transform. */
function sampleBinsOf(x: ArrayLike<number>, n: number): number[] {
  return [...CHOSEN, n / 2].flatMap((b) => {
    let re = 0;
    let im = 0;
    for (let p = 0; p < n; p++) {
      const turn = (2 * Math.PI * ((b * p) % n)) / n;
      re += x[p] * Math.cos(turn);
      im -= x[p] * Math.sin(turn);
    }
    return [re, im];
  });
}
