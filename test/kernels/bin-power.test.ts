import { beforeAll, describe, expect, it } from 'vitest';
import type { Kernels } from '../../src/kernels/kernels.js';
import { referencePowerRows, referenceSmooth, referenceSumFrames, referenceSumRows } from '../reference/bin-rows.js';
import { allocGuarded, makeNoise, openKernels } from './support.js';

let k: Kernels;
beforeAll(async () => { k = await openKernels(); });

const SIZES = Array.from({ length: 67 }, (_, n) => n + 1), pad = (bins: number): number => (bins + 3) & ~3;

function placeGuarded(values: ArrayLike<number>): ReturnType<typeof allocGuarded> {
  const region = allocGuarded(k, values.length);
  region.values.set(values);
  return region;
}

/** Each value within some roundings of float32 of the largest. */
function expectNear(got: ArrayLike<number>, want: ArrayLike<number>, roundings: number): void {
  const largest = Array.from(want).reduce((m, v) => Math.max(m, Math.abs(v)), 0);
  expect(got.length).toBe(want.length);
  for (let i = 0; i < want.length; i++) if (!(Math.abs(got[i] - want[i]) <= roundings * 2 ** -24 * largest + 1e-45)) expect({ i, value: got[i] }).toEqual({ i, value: want[i] });
}

describe('powers of planes', () => {
  it.each(SIZES)('are the squares of both parts, %i vectors', (n) => {
    const mark = k.mark(), re = placeGuarded(makeNoise(4 * n, 3)), im = placeGuarded(makeNoise(4 * n, 4)), out = allocGuarded(k, 4 * n);
    re.values[0] = 1e-30; im.values[0] = 1e-30; re.values[1] = 1e25; re.values[2] = NaN; re.values[3] = im.values[3] = 0;
    k.fn.planePower(re.ptr, im.ptr, 4 * n, out.ptr);
    out.values.forEach((v, i) => expect(v).toBe(Math.fround(Math.fround(re.values[i] ** 2) + Math.fround(im.values[i] ** 2))));
    out.expectIntact();
    k.release(mark);
  });
});

describe('means over neighbouring bins', () => {
  it.each(SIZES)('count 0 beyond the edges and nothing behind the last bin, %i bins', (bins) => {
    for (const frames of [1, 2, 5]) {
      const mark = k.mark(), width = pad(bins), power = placeGuarded(Float64Array.from(makeNoise(frames * width, bins), (v) => v + 0.5)), out = allocGuarded(k, frames * width), scratch = allocGuarded(k, width + 8);
      for (let t = 0; t < frames; t++) power.values.fill(NaN, t * width + bins, (t + 1) * width);
      k.fn.smoothBins(power.ptr, frames, bins, width, 0, scratch.ptr, out.ptr);
      // Eight sums.
      expectNear(out.values, referenceSmooth(power.values, frames, bins, width), 8);
      const keep = k.alloc(frames), flags = k.u8(keep, frames);
      flags.forEach((_, t) => { flags[t] = t % 2; });
      k.fn.smoothBins(power.ptr, frames, bins, width, keep, scratch.ptr, out.ptr);
      expectNear(out.values, referenceSmooth(power.values, frames, bins, width, flags), 8);
      for (const region of [out, scratch]) region.expectIntact();
      k.release(mark);
    }
  });

  it('keep a NaN to its neighbours, take denormals, silence and full scale', () => {
    const mark = k.mark(), power = allocGuarded(k, 5 * 12), out = allocGuarded(k, 5 * 12), scratch = k.allocF32(20), run = (): void => k.fn.smoothBins(power.ptr, 5, 12, 12, 0, scratch, out.ptr);
    power.values.fill(0);
    run();
    expect(out.values.every((v) => v === 0)).toBe(true);
    power.values.fill(1e-42);
    run();
    expect(out.values[2 * 12 + 5]).toBeGreaterThan(0.9e-42);
    power.values.fill(3e37);
    run();
    expect(out.values[2 * 12 + 5] / 3e37).toBeCloseTo(1, 6);
    power.values[2 * 12 + 5] = NaN;
    run();
    out.values.forEach((v, i) => expect(Number.isNaN(v)).toBe(Math.abs(Math.floor(i / 12) - 2) <= 1 && Math.abs((i % 12) - 5) <= 1));
    k.release(mark);
  });
});

describe('sums of rows', () => {
  it.each(SIZES)('over frames and over bins, %i frames', (frames) => {
    const mark = k.mark(), width = 8, power = placeGuarded(Float64Array.from(makeNoise(frames * width, frames), (v) => v + 0.5)), out = allocGuarded(k, width), totals = allocGuarded(k, frames);
    const keep = k.alloc(frames), flags = k.u8(keep, frames), first = frames >> 2, end = frames - (frames >> 3);
    flags.forEach((_, t) => { flags[t] = t % 3; });
    k.fn.sumRows(power.ptr, 0, first, end, width, out.ptr);
    expectNear(out.values, referenceSumRows(power.values, first, end, width), frames);
    k.fn.sumRows(power.ptr, keep, first, end, width, out.ptr);
    expectNear(out.values, referenceSumRows(power.values, first, end, width, flags), frames);
    k.fn.sumFrames(power.ptr, frames, width, totals.ptr);
    expectNear(totals.values, referenceSumFrames(power.values, frames, width), width);
    k.fn.sumRows(power.ptr, 0, end, end, width, out.ptr);
    expect([...out.values]).toEqual(new Array(width).fill(0));
    for (const region of [out, totals]) region.expectIntact();
    k.release(mark);
  });
});

describe('powers in lanes', () => {
  it.each(SIZES)('leave out lanes that are lost or no numbers, %i bins', (bins) => {
    for (const count of [1, 5]) {
      const mark = k.mark(), columns = bins + (bins & 1), spectra = placeGuarded(makeNoise(count * bins * 8, 7)), rows = allocGuarded(k, count * columns * 4), usable = allocGuarded(k, 4), mean = allocGuarded(k, 4 * bins);
      k.fn.meanPower(spectra.ptr, count, bins, mean.ptr);
      const whole = referencePowerRows(spectra.values, count, bins, columns).rows;
      expectNear(mean.values, Float64Array.from({ length: 4 * bins }, (_, i) => { let s = 0; for (let t = 0; t < count; t++) s += whole[t * columns * 4 + i] / count; return s; }), 16);
      // Lane 1 of the first spectrum is silent, lane 2 of the last has a NaN, lane 3 of the first is too loud for float32.
      for (let b = 0; b < bins; b++) { spectra.values[b * 8 + 1] = spectra.values[b * 8 + 5] = 0; }
      spectra.values[(count - 1) * bins * 8 + 2] = NaN;
      spectra.values[3] = 1e25;
      k.fn.powerRows(spectra.ptr, count, bins, columns, rows.ptr, usable.ptr);
      const want = referencePowerRows(spectra.values, count, bins, columns);
      expect([...k.i32(usable.ptr, 4)]).toEqual(want.usable);
      rows.values.forEach((v, i) => { if (Number.isFinite(want.rows[i])) expect(Math.abs(v - want.rows[i])).toBeLessThanOrEqual(2 ** -22); else expect(v).toBe(Infinity); });
      for (const region of [rows, usable, mean]) region.expectIntact();
      k.release(mark);
    }
  });
});
