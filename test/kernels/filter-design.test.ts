import { describe, expect, it } from 'vitest';
import type { FilterShape } from '../../src/kernels/filter-design.js';
import { computeResponse, designButterworth } from '../../src/kernels/filter-design.js';
import { referenceFilter } from '../reference/biquad.js';

const impulse = [1, 0, 0, 0, 0, 0, 0, 0];

describe('Butterworth sections', () => {
  it('give the closed form of the second-order high-pass (and scipy.signal.butter, scipy 1.17)', () => {
    const sos = designButterworth({ kind: 'highpass', order: 2, edgeHz: 1000 }, 22050);
    const tan = Math.tan((Math.PI * 1000) / 22050);
    expect(sos[0]).toBeCloseTo(1 / (1 + Math.SQRT2 * tan + tan * tan), 12);
    [0.8173653471988666, -1.634730694397733, 0.8173653471988666, -1.6010923941836188, 0.6683689946118473].forEach((v, i) => expect(sos[i]).toBeCloseTo(v, 12));
  });

  const table: [FilterShape, number, number[]][] = [
    [{ kind: 'bandpass', order: 4, lowHz: 2000, highHz: 8000 }, 44100, [0.0135012848, 0.0650334036, 0.1146521365, 0.0513329334, -0.1344552391, -0.2791882188]],
    [{ kind: 'lowpass', order: 3, edgeHz: 1000 }, 8000, [0.031689343849711, 0.1413037051888, 0.27238524773979, 0.30673777397559, 0.22752167297502, 0.1066008351541, 0.0090854961547836, -0.038780575231758]],
    [{ kind: 'highpass', order: 5, edgeHz: 300 }, 22050, [0.87077595878533, -0.24086743851548, -0.20721815639639, -0.17651084525225, -0.14858371374457, -0.12327954956462, -0.10044571923134, -0.079934167676228]],
    [{ kind: 'bandpass', order: 3, lowHz: 500, highHz: 1500 }, 16000, [0.0053004097945258, 0.026058666179867, 0.057399361451323, 0.075872431007192, 0.063774226638267, 0.02143021175902, -0.03778236902524, -0.095057211074028]],
    [{ kind: 'bandpass', order: 4, lowHz: 300, highHz: 11000 }, 48000, [0.065559936030021, 0.28016710524568, 0.42921392764034, 0.2029225077473, -0.16644323724396, -0.23948632440981, -0.082443106280406, -0.0066092522419173]],
  ];
  it.each(table)('have the impulse response of scipy.signal.butter and sosfilt (scipy 1.17): %o at %i Hz', (shape, rate, expected) => {
    const response = referenceFilter(impulse, designButterworth(shape, rate));
    expected.forEach((v, i) => expect(Math.abs(response[i] - v)).toBeLessThan(1e-10));
  });

  it.each([1, 2, 3, 4, 5, 8])('lose 3.0103 dB at every edge and nothing in the middle, order %i (definition)', (order) => {
    const half = 10 * Math.log10(0.5);
    const band = designButterworth({ kind: 'bandpass', order, lowHz: 400, highHz: 9000 }, 32000);
    expect(band.length).toBe(5 * order);
    for (const f of [400, 9000]) expect(computeResponse(band, f, 32000).gainDb).toBeCloseTo(half, 8);
    expect(computeResponse(designButterworth({ kind: 'lowpass', order, edgeHz: 3000 }, 32000), 3000, 32000).gainDb).toBeCloseTo(half, 9);
    expect(computeResponse(designButterworth({ kind: 'highpass', order, edgeHz: 3000 }, 32000), 3000, 32000).gainDb).toBeCloseTo(half, 9);
    expect(computeResponse(designButterworth({ kind: 'lowpass', order, edgeHz: 3000 }, 32000), 0, 32000).gainDb).toBeCloseTo(0, 9);
  });

  it('refuse edges that do not fit', () => {
    for (const [lowHz, highHz] of [[0, 100], [200, 100], [100, 4000], [NaN, 100]]) {
      expect(() => designButterworth({ kind: 'bandpass', order: 2, lowHz, highHz }, 8000)).toThrow(/edges/);
    }
    expect(() => designButterworth({ kind: 'lowpass', order: 0, edgeHz: 100 }, 8000)).toThrow(/order/);
  });
});
