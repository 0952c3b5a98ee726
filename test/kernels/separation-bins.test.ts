import { beforeAll, describe, expect, it } from 'vitest';
import type { Kernels } from '../../src/kernels/kernels.js';
import { referenceExpected, referenceHush, referenceRatios, referenceTurn, referenceVoice } from '../reference/bin-rows.js';
import { allocGuarded, makeNoise, openKernels } from './support.js';

let k: Kernels;
beforeAll(async () => { k = await openKernels(); });

type Region = ReturnType<typeof allocGuarded>;
/** Frames and vectors per row: both run over 1 to 67. */
const SHAPES: [number, number][] = Array.from({ length: 67 }, (_, n) => [n + 1, 1 + ((3 * n) % 5)] as [number, number]).concat([[1, 67], [3, 66]]);

/** Values between `low` and `high`, evenly spread in their logarithm. */
function draw(count: number, seed: number, low: number, high: number): Region {
  const region = allocGuarded(k, count);
  region.values.set(makeNoise(count, seed).map((v) => low * (high / low) ** (v + 0.5)));
  return region;
}

function drawSigned(count: number, seed: number): Region {
  const region = allocGuarded(k, count);
  region.values.set(makeNoise(count, seed));
  return region;
}

function placeFlags(frames: number, period: number): { ptr: number; values: Uint8Array } {
  const ptr = k.alloc(frames), values = k.u8(ptr, frames);
  values.forEach((_, t) => { values[t] = t % period === 0 ? 1 : 0; });
  return { ptr, values };
}

/** Relative to the value, with `slack` for what cancels. */
function expectClose(got: ArrayLike<number>, want: ArrayLike<number>, relative: number, slack = 1e-37): void {
  expect(got.length).toBe(want.length);
  for (let i = 0; i < want.length; i++) if (!(Math.abs(got[i] - want[i]) <= relative * Math.abs(want[i]) + slack)) expect({ i, value: got[i] }).toEqual({ i, value: want[i] });
}

const ROUNDINGS = 8 * 2 ** -24;

describe('expected crosstalk', () => {
  it.each(SHAPES)('follows the caller, rings on and falls silent, %i frames of %i vectors', (frames, vectors) => {
    const mark = k.mark(), width = 4 * vectors, power = draw(frames * width, 5, 1e-6, 1), most = draw(width, 6, 1e-3, 1), least = draw(width, 7, 1e-6, 1e-3), ringing = allocGuarded(k, width), expected = draw(frames * width, 8, 1e-6, 1);
    for (const period of [1, 3, 1000]) {
      const active = placeFlags(frames, period), want = Float64Array.from(expected.values), isAny = referenceExpected(power.values, active.values, frames, width, most.values.map((v) => 4 * v), least.values.map((v) => 0.125 * v), 0.6, want);
      expect(k.fn.addExpected(power.ptr, active.ptr, frames, width, most.ptr, 4, least.ptr, 0.125, 0.6, ringing.ptr, expected.ptr)).toBe(isAny ? 1 : 0);
      // The decay is rounded once for every frame that it rings.
      expectClose(expected.values, want, 70 * 2 ** -24);
    }
    for (const region of [ringing, expected]) region.expectIntact();
    k.release(mark);
  });

  it('adds nothing where all is inaudible, silent or no number', () => {
    const mark = k.mark(), power = allocGuarded(k, 12 * 8), rows = [1, 1, 0].map(() => allocGuarded(k, 8)), expected = allocGuarded(k, 12 * 8), active = placeFlags(12, 1);
    rows[0].values.fill(1); rows[1].values.fill(0.5); expected.values.fill(0);
    for (const level of [0, 1e-42, 0.5, NaN]) {
      power.values.fill(level);
      expect(k.fn.addExpected(power.ptr, active.ptr, 12, 8, rows[0].ptr, 1, rows[1].ptr, 1, 0.5, rows[2].ptr, expected.ptr)).toBe(0);
      expect(expected.values.every((v) => v === 0)).toBe(true);
    }
    k.release(mark);
  });
});

describe('bins that are hushed', () => {
  it.each(SHAPES)('go down to what crosstalk does not explain or the floor, %i frames of %i vectors', (frames, vectors) => {
    const mark = k.mark(), width = 4 * vectors, planes = drawSigned(2 * frames * width, 5), power = draw(frames * width, 6, 1e-6, 1), expected = draw(frames * width, 7, 1e-6, 1), floor = draw(width, 8, 1e-5, 1e-2), kept = placeFlags(frames, 4), change = allocGuarded(k, 2 * frames * width);
    k.fn.hushBins(planes.ptr, power.ptr, expected.ptr, kept.ptr, frames, width, floor.ptr, change.ptr);
    // What is left is a difference: its error is relative to the power, and a root near 1 loses as much.
    expectClose(change.values, referenceHush(planes.values, power.values, expected.values, kept.values, frames, width, floor.values), 1e-5, 1e-6);
    change.values.forEach((v, i) => { if (kept.values[Math.floor(i / width) % frames]) expect(v).toBe(0); });
    change.expectIntact();
    k.release(mark);
  });

  it('leave silence, denormals and powers below the floor as they are, and a NaN in its own bin', () => {
    const mark = k.mark(), planes = drawSigned(2 * 3 * 4, 5), power = allocGuarded(k, 12), expected = allocGuarded(k, 12), floor = allocGuarded(k, 4), kept = placeFlags(3, 100), change = allocGuarded(k, 24);
    kept.values[0] = 0; floor.values.fill(1e-3); expected.values.fill(1);
    for (const level of [0, 1e-42, 0.9e-3]) {
      power.values.fill(level);
      k.fn.hushBins(planes.ptr, power.ptr, expected.ptr, kept.ptr, 3, 4, floor.ptr, change.ptr);
      expect(change.values.every((v) => v === 0)).toBe(true);
    }
    power.values.fill(1e30); planes.values[5] = NaN;
    k.fn.hushBins(planes.ptr, power.ptr, expected.ptr, kept.ptr, 3, 4, floor.ptr, change.ptr);
    change.values.forEach((v, i) => expect(Number.isNaN(v)).toBe(i === 5));
    k.release(mark);
  });
});

describe('rows of levels', () => {
  it.each(SHAPES)('are added, weighed and compared, %i frames of %i vectors', (frames, vectors) => {
    const width = 4 * vectors, count = frames * width;
    for (const bins of [width, width - 1, width - 3]) {
      const mark = k.mark(), power = draw(count, 5, 1e-6, 1), other = draw(count, 6, 1e-6, 1), ratio = draw(width, 7, 1e-3, 1), floor = draw(width, 8, 1e-6, 1e-4), otherFloor = draw(width, 9, 1e-6, 1e-2), out = draw(count, 10, 1e-6, 1);
      const sum = out.values.map((v, i) => v + 0.3 * ratio.values[i % width] * power.values[i]);
      k.fn.addLevels(power.ptr, frames, width, ratio.ptr, 0.3, out.ptr);
      expectClose(out.values, sum, ROUNDINGS);
      const more = out.values.map((v, i) => Math.fround(v + other.values[i]));
      k.fn.addValues(other.ptr, count, out.ptr);
      expect(out.values).toEqual(more);
      k.fn.weighBins(power.ptr, other.ptr, frames, width, floor.ptr, 0.015, 0.4, out.ptr);
      expectClose(out.values, Float64Array.from({ length: count }, (_, i) => 0.4 / (other.values[i] + floor.values[i % width] + 0.015 * power.values[i])), ROUNDINGS);
      k.fn.weighBins(power.ptr, 0, frames, width, floor.ptr, 0.015, 0.4, out.ptr);
      expectClose(out.values, Float64Array.from({ length: count }, (_, i) => 0.4 / (floor.values[i % width] + 0.015 * power.values[i])), ROUNDINGS);
      power.values[count >> 1] = NaN;
      const found = allocGuarded(k, frames * bins + 3), want = referenceRatios(power.values, other.values, frames, bins, width, ratio.values, floor.values, otherFloor.values);
      const n = k.fn.collectRatios(power.ptr, other.ptr, frames, bins, width, ratio.ptr, floor.ptr, otherFloor.ptr, found.ptr);
      expect(n).toBe(want.length);
      expectClose(found.values.subarray(0, n), want, ROUNDINGS);
      if (n > 0) {
        const sorted = [...found.values.subarray(0, n)].sort((a, b) => a - b);
        for (const rank of [0, n >> 1, n - 1]) expect(k.fn.selectRank(found.ptr, n, rank)).toBe(sorted[rank]);
      }
      for (const region of [out, found]) region.expectIntact();
      k.release(mark);
    }
  });
});

describe('a voice bin by bin', () => {
  it.each(SHAPES)('is the posterior mean of its definition, %i frames of %i vectors', (frames, vectors) => {
    const mark = k.mark(), width = 4 * vectors, count = frames * width, x = drawSigned(2 * count, 5), [own, expected, left, smoothLeft] = [6, 7, 8, 9].map((seed) => draw(count, seed, 1e-6, 1)), floor = draw(width, 10, 1e-6, 1e-2), active = placeFlags(frames, 3);
    const mean = allocGuarded(k, 2 * count), variance = allocGuarded(k, count), out = allocGuarded(k, count), bed = (i: number): number => floor.values[i % width], isActive = (i: number): boolean => active.values[Math.floor(i / width)] === 1;
    k.fn.beginVoice(x.ptr, own.ptr, expected.ptr, floor.ptr, active.ptr, frames, width, mean.ptr, variance.ptr);
    const begun = referenceVoice(x.values, frames, width, (i) => (isActive(i) ? Math.max(own.values[i] - expected.values[i] - bed(i), 1e-14) : 0), (i) => expected.values[i] + bed(i));
    // Differences of powers up to 1 cancel.
    expectClose(mean.values, begun.mean, 1e-5, 1e-6); expectClose(variance.values, begun.variance, 1e-5, 1e-7);
    k.fn.lookAtVoice(own.ptr, expected.ptr, left.ptr, smoothLeft.ptr, floor.ptr, active.ptr, frames, width, out.ptr);
    expectClose(out.values, Float64Array.from({ length: count }, (_, i) => {
      const noise = left.values[i] + bed(i), power = isActive(i) ? Math.max(expected.values[i] - smoothLeft.values[i] - bed(i), 0.003 * expected.values[i]) : 0, gain = power / (power + noise);
      return gain * gain * own.values[i] + gain * noise;
    }), 1e-5, 1e-6);
    k.fn.settleVoice(x.ptr, left.ptr, own.ptr, floor.ptr, frames, width, mean.ptr, variance.ptr);
    const settled = referenceVoice(x.values, frames, width, (i) => own.values[i], (i) => left.values[i] + bed(i));
    expectClose(mean.values, settled.mean, ROUNDINGS); expectClose(variance.values, settled.variance, ROUNDINGS);
    for (const region of [mean, variance, out]) region.expectIntact();
    k.release(mark);
  });

  it.each(SHAPES)('loses crosstalk as far as that is trusted, and is masked, %i frames of %i vectors', (frames, vectors) => {
    const mark = k.mark(), width = 4 * vectors, count = frames * width, x = drawSigned(2 * count, 5), crosstalk = drawSigned(2 * count, 6), trust = draw(width, 7, 1e-3, 1), residual = allocGuarded(k, 2 * count), raw = allocGuarded(k, count), change = allocGuarded(k, 2 * count);
    const left = x.values.map((v, i) => v - trust.values[i % width] * crosstalk.values[i]);
    k.fn.removeTrusted(x.ptr, crosstalk.ptr, trust.ptr, frames, width, residual.ptr, raw.ptr);
    expectClose(residual.values, left, ROUNDINGS, 1e-7);
    expectClose(raw.values, Float64Array.from({ length: count }, (_, i) => left[i] ** 2 + left[i + count] ** 2), ROUNDINGS, 1e-7);
    const power = draw(count, 8, 1e-9, 1), leftover = draw(count, 9, 1e-6, 1), withRow = draw(width, 10, 1e-6, 1e-2), without = draw(width, 11, 1e-6, 1e-2);
    k.fn.maskVoice(x.ptr, residual.ptr, power.ptr, leftover.ptr, withRow.ptr, without.ptr, 0.01, frames, width, change.ptr);
    expectClose(change.values, Float64Array.from({ length: 2 * count }, (_, n) => {
      const i = n % count, wanted = power.values[i] + withRow.values[i % width];
      return Math.max(0.01, wanted / (wanted + leftover.values[i] + without.values[i % width])) * residual.values[n] - x.values[n];
    }), ROUNDINGS, 1e-6);
    for (const region of [residual, raw, change]) region.expectIntact();
    k.release(mark);
  });

  it('stays finite in silence and with denormals, and keeps a NaN in its own bin', () => {
    const mark = k.mark(), x = allocGuarded(k, 24), zero = allocGuarded(k, 12), floor = allocGuarded(k, 4), active = placeFlags(3, 1), mean = allocGuarded(k, 24), variance = allocGuarded(k, 12), change = allocGuarded(k, 24);
    zero.values.fill(0); floor.values.fill(1e-10);
    for (const level of [0, 1e-42]) {
      x.values.fill(level);
      k.fn.beginVoice(x.ptr, zero.ptr, zero.ptr, floor.ptr, active.ptr, 3, 4, mean.ptr, variance.ptr);
      k.fn.maskVoice(x.ptr, x.ptr, zero.ptr, zero.ptr, zero.ptr, zero.ptr, 0.01, 3, 4, change.ptr);
      for (const v of [...mean.values, ...variance.values, ...change.values]) expect(Math.abs(v)).toBeLessThan(1e-12);
    }
    x.values[6] = NaN;
    k.fn.settleVoice(x.ptr, zero.ptr, zero.ptr, floor.ptr, 3, 4, mean.ptr, variance.ptr);
    mean.values.forEach((v, i) => expect(Number.isNaN(v)).toBe(i === 6));
    k.release(mark);
  });
});

describe('phases that grow from bin to bin', () => {
  it.each([...SHAPES, [2, 513]] as [number, number][])('are turned as plain loops do, there and back, %i frames of %i vectors', (frames, vectors) => {
    const mark = k.mark(), width = 4 * vectors, planes = drawSigned(2 * frames * width, 5), before = planes.values.slice(), turns = makeNoise(frames, 9), step = k.alloc(16 * frames);
    const turn = (sign: number): void => { turns.forEach((t, n) => k.f64(step + 16 * n, 2).set([Math.cos(2 * Math.PI * t), sign * Math.sin(2 * Math.PI * t)])); k.fn.turnPhases(planes.ptr, frames, width, step); };
    turn(1);
    expectClose(planes.values, referenceTurn(before, frames, width, turns), 0, ROUNDINGS);
    turn(-1);
    expectClose(planes.values, before, 0, ROUNDINGS);
    planes.expectIntact();
    k.release(mark);
  });

  it('keep silence, denormals and full scale, and a NaN in its own bin', () => {
    const mark = k.mark(), planes = allocGuarded(k, 2 * 12), step = k.alloc(16);
    k.f64(step, 2).set([0, 1]);
    planes.values.fill(0).set([1e-42, 2e38, NaN, 3], 4);
    k.fn.turnPhases(planes.ptr, 1, 12, step);
    // A quarter of a circle per bin.
    expect([...planes.values.subarray(4, 8)]).toEqual([Math.fround(1e-42), 0, NaN, 0]);
    expect([...planes.values.subarray(16, 20)]).toEqual([0, Math.fround(2e38), NaN, -3]);
    expect([...planes.values.subarray(0, 4), ...planes.values.subarray(8, 16), ...planes.values.subarray(20)].every((v) => v === 0)).toBe(true);
    k.release(mark);
  });
});
