import { beforeAll, describe, expect, it } from 'vitest';
import type { Kernels } from '../../src/kernels/kernels.js';
import { StretchKernels } from '../../src/kernels/stretch-kernels.js';
import { referenceOwnedBins, referenceSharedBins, type ReferenceBins } from '../reference/collect-bins.js';
import { makeNoise, openKernels } from './support.js';

const FRAMES = 29;
const BINS = 47;
let k: Kernels;
beforeAll(async () => { k = await openKernels(8 << 20); });

describe.each([[1, 46], [3, 10], [5, 38]] as const)('bins %i to %i of a stretch', (firstBin, endBin) => {
  const trackCount = 5;
  function makeScene(): { stretch: StretchKernels; floors: Float32Array[]; s: ReferenceBins } {
    const at = k.allocF32(trackCount * FRAMES * BINS + 8);
    const power = Array.from({ length: trackCount }, (_, j) => {
      const p = k.f32(at + 4 * j * FRAMES * BINS, FRAMES * BINS);
      p.set(makeNoise(FRAMES * BINS, 40 + j).map((v, i) => -Math.log(v + 0.5001) * 1e-6 * ((i * 7 + j * 13) % 60 < 11 ? 50 : 1)));
      return p;
    });
    const floors = power.map((_, j) => Float32Array.from(makeNoise(BINS, 300 + j), (v) => (1.2 + v) * 1e-6));
    const lost = power.map((_, j) => Uint8Array.from({ length: FRAMES }, (_unused, t) => (j === 2 && t > 8 && t < 14 ? 1 : 0)));
    const none = { lanes: 0, groupBytes: 0, trackCount: 0, frameCount: 0, padFrames: 0 };
    const stretch = new StretchKernels(k, { trackCount, frameCount: FRAMES, binCount: BINS, power: at, powerScale: 1, spectra: 0, keptBins: 0, signal: none });
    const { owner, leadDb } = stretch.mapOwnership(floors, power.map(() => 1), lost, [firstBin, endBin], 4);
    return { stretch, floors, s: { power, floors, owner, leadDb, lost, binCount: BINS, from: 2, to: 25, firstBin, endBin } };
  }
  const near = (got: number, want: number): void => expect(Math.abs(got - want)).toBeLessThanOrEqual(1e-12 * Math.abs(want));

  it('that a track owns, with and without a pedestal, are those of the plain loops', () => {
    const mark = k.mark();
    const { stretch, floors, s } = makeScene();
    const lift = Float32Array.from({ length: FRAMES }, (_, t) => 1 + 3 * (t % 7));
    for (let track = 0; track < trackCount; track++) {
      for (const pedestal of [undefined, lift]) {
        const got = stretch.bins.collectOwned(floors, track, s.from, s.to, pedestal), want = referenceOwnedBins(s, track, pedestal);
        expect(Array.from(got.set)).toEqual(want.set);
        near(got.all, want.all); near(got.owned, want.owned); near(got.led, want.led);
      }
      let loud = 0;
      for (let t = s.from; t < s.to; t++) for (let b = firstBin; b < endBin; b++) if (s.power[track][t * BINS + b] > 4 * floors[track][b]) loud += s.power[track][t * BINS + b];
      near(stretch.bins.sumLoud(floors, track, 4, s.from, s.to, [firstBin, endBin]), loud);
    }
    expect(referenceOwnedBins(s, 0).set.length).toBeGreaterThan(2);
    expect(stretch.bins.collectOwned(floors, 0, 4, 4)).toMatchObject({ all: 0, owned: 0, led: 0 });
    k.release(mark);
  });

  it('that no track leads clearly are those of the plain loops', () => {
    const mark = k.mark();
    const { stretch, floors, s } = makeScene();
    const got = stretch.bins.collectShared(floors, 7, s.from, s.to), want = referenceSharedBins(s, 7);
    expect(Array.from(got.set)).toEqual(want.set);
    expect(want.set.length).toBeGreaterThan(2);
    near(got.led, want.led); near(got.weight, want.weight);
    want.heard.forEach((v, j) => near(got.heard[j], v));
    const sums = floors.map((_, j) => 1e-5 * (j + 1));
    const levels = stretch.bins.sumShared(floors, sums, 7);
    for (let t = 0; t < FRAMES; t++) {
      let a = 0;
      for (const q of referenceSharedBins({ ...s, from: t, to: t + 1 }, 7).set) a += Math.max(0, s.power[s.owner[q]][q] - floors[s.owner[q]][q % BINS]) / sums[s.owner[q]];
      expect(levels[t]).toBe(Math.fround(a));
    }
    k.release(mark);
  });
});
