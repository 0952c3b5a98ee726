import { beforeAll, describe, expect, it } from 'vitest';
import type { Kernels } from '../../src/kernels/kernels.js';
import { referencePlanes } from '../reference/spectra-planes.js';
import { allocGuarded, makeNoise, openKernels } from './support.js';

let k: Kernels;
beforeAll(async () => {
  k = await openKernels();
});

describe('planes of the spectra of four tracks', () => {
  it.each(Array.from({ length: 67 }, (_, n) => n + 1))('are the same values in another order, there and back, %i bins', (bins) => {
    for (const [spectrumCount, trackCount] of [[1, 4], [3, 4], [2, 3], [3, 2], [2, 1]]) {
      const mark = k.mark(), width = (bins + 3) & ~3, count = 8 * spectrumCount * bins, spectra = allocGuarded(k, count), planes = allocGuarded(k, 2 * trackCount * spectrumCount * width), back = allocGuarded(k, count);
      spectra.values.set(makeNoise(count, 77 + bins));
      // Values are moved: what cannot be computed with comes through as well.
      spectra.values[0] = NaN;
      spectra.values[count - 8] = Infinity;
      spectra.values[8 * ((spectrumCount * bins) >> 1) + 4] = 1e-41;
      k.fn.planesFromSpectra(spectra.ptr, spectrumCount, bins, trackCount, width, planes.ptr);
      expect([...planes.values]).toEqual([...referencePlanes(spectra.values, spectrumCount, bins, trackCount, width)]);
      // What stands behind the last bin goes nowhere.
      for (let row = 0; row < 2 * trackCount * spectrumCount; row++) planes.values.fill(7, row * width + bins, (row + 1) * width);
      k.fn.spectraFromPlanes(planes.ptr, spectrumCount, bins, trackCount, width, back.ptr);
      expect([...back.values]).toEqual([...spectra.values].map((v, i) => (i % 4 < trackCount ? v : 0)));
      for (const region of [spectra, planes, back]) region.expectIntact();
      k.release(mark);
    }
  });

  it('move nothing where there is no spectrum', () => {
    const mark = k.mark(), planes = allocGuarded(k, 8);
    k.fn.planesFromSpectra(k.allocF32(8), 0, 1, 4, 4, planes.ptr);
    k.fn.spectraFromPlanes(k.allocF32(8), 0, 1, 4, 4, planes.ptr);
    expect([...planes.values]).toEqual(Array.from({ length: 8 }, () => -12345.5));
    planes.expectIntact();
    k.release(mark);
  });
});
