import { beforeAll, describe, expect, it } from 'vitest';
import type { Kernels } from '../../src/kernels/kernels.js';
import { computeIstft, computeStft, createStftPlan, placeSpectra } from '../../src/kernels/stft.js';
import { referencePlanes } from '../reference/spectra-planes.js';
import { allocGuarded, makeNoise, openKernels, placeTracks } from './support.js';

let k: Kernels;
beforeAll(async () => {
  k = await openKernels(32 << 20);
});

/** Values of plain planes without their padding. */
function placeRegion(count: number, values?: ArrayLike<number>): ReturnType<typeof allocGuarded> {
  const region = allocGuarded(k, count);
  if (values) region.values.set(values);
  return region;
}

describe('planes of the spectra of up to four tracks', () => {
  it.each([...Array.from({ length: 67 }, (_, n) => [8, n + 1, 1 + (n % 4)]), [16, 5, 4], [64, 7, 3], [256, 3, 2], [1024, 2, 4], [2048, 2, 1]])(
    'are those spectra in another order and their squares, and give what the inverse gives, %i points, %i windows, %i tracks', (fftSize, spectrumCount, trackCount) => {
      const mark = k.mark(), hopFrames = fftSize / 4, frameCount = (spectrumCount - 1) * hopFrames + fftSize, plan = createStftPlan(k, { fftSize, hopFrames }), { binCount } = plan, width = binCount + 3;
      const tracks = Array.from({ length: trackCount }, (_, t) => makeNoise(frameCount, 77 + t));
      // A NaN, silence, denormals and full scale.
      tracks[0][fftSize] = NaN;
      if (trackCount > 1) tracks[1].fill(0);
      if (trackCount > 2) tracks[2].fill(1e-41);
      if (trackCount > 3) tracks[3].fill(1);
      const region = placeTracks(k, tracks), apart = computeStft(k, plan, region, 0, spectrumCount), scratch = placeRegion(4 * (3 * fftSize + 8)), planes = placeRegion(2 * trackCount * spectrumCount * width), power = placeRegion(trackCount * spectrumCount * width);
      k.fn.stftPlanes(region.signal, region.trackStrideFrames, trackCount, frameCount, hopFrames, spectrumCount, fftSize, plan.window, plan.table, scratch.ptr, width, planes.ptr, power.ptr);
      expect([...planes.values]).toEqual([...referencePlanes(apart.values, spectrumCount, binCount, trackCount, width)]);
      const part = spectrumCount * width;
      power.values.forEach((v, i) => {
        const at = 2 * Math.floor(i / part) * part + (i % part), re = planes.values[at], im = planes.values[at + part];
        if (v !== Math.fround(Math.fround(re * re) + Math.fround(im * im))) expect(v).toBeNaN();
      });
      const want = computeIstft(k, plan, placeSpectra(k, binCount, trackCount, spectrumCount, apart.ptr), frameCount), signal = placeRegion(trackCount * (frameCount + 1)), weight = placeRegion(frameCount);
      // What stands behind the last bin goes nowhere.
      for (let row = 0; row < 2 * trackCount * spectrumCount; row++) planes.values.fill(7, row * width + binCount, (row + 1) * width);
      k.fn.istftPlanes(planes.ptr, spectrumCount, trackCount, fftSize, hopFrames, plan.window, plan.table, scratch.ptr, width, weight.ptr, signal.ptr, frameCount + 1, frameCount);
      for (let t = 0; t < trackCount; t++) expect([...signal.values.subarray(t * (frameCount + 1), t * (frameCount + 1) + frameCount)]).toEqual([...want.subarray(t * frameCount, (t + 1) * frameCount)]);
      for (const r of [scratch, planes, power, signal, weight]) r.expectIntact();
      k.release(mark);
    });
});
