import { beforeAll, describe, expect, it } from 'vitest';
import type { Kernels } from '../../src/kernels/kernels.js';
import { referenceFilter } from '../reference/lane-filter.js';
import { allocGuarded, makeNoise, openKernels } from './support.js';

let k: Kernels;
beforeAll(async () => { k = await openKernels(16 << 20); });

/** Filters rows of four tracks, `tapCount` frames before each of which are given too; checks that nothing but the rows has changed. */
function filter(rows: readonly (readonly ArrayLike<number>[])[], before: readonly (readonly ArrayLike<number>[])[], taps: Float32Array): Float32Array[][] {
  const mark = k.mark();
  const pad = taps.length, count = rows[0][0].length;
  const memory = allocGuarded(k, 4 * rows.length * (pad + count));
  const tapsPtr = k.allocF32(pad);
  k.f32(tapsPtr, pad).set(taps);
  const place = (g: number, c: number, i: number): number => 4 * (g * (pad + count) + pad + i) + c;
  rows.forEach((lanes, g) => lanes.forEach((x, c) => {
    for (let i = 0; i < pad; i++) memory.values[place(g, c, i - pad)] = before[g][c][i];
    for (let i = 0; i < count; i++) memory.values[place(g, c, i)] = x[i];
  }));
  k.fn.filterLanes(memory.ptr + 16 * pad, 16 * (pad + count), rows.length, count, tapsPtr, pad);
  memory.expectIntact();
  rows.forEach((lanes, g) => lanes.forEach((_, c) => { for (let i = 0; i < pad; i++) expect(memory.values[place(g, c, i - pad)]).toBe(Math.fround(before[g][c][i])); }));
  const out = rows.map((lanes, g) => lanes.map((_, c) => Float32Array.from({ length: count }, (__, i) => memory.values[place(g, c, i)])));
  k.release(mark);
  return out;
}

const noiseRows = (groups: number, count: number, seed: number): Float32Array[][] =>
  Array.from({ length: groups }, (_, g) => Array.from({ length: 4 }, (__, c) => Float32Array.from(makeNoise(count, seed + 10 * g + c))));
const silence = (groups: number, count: number): Float32Array[][] => Array.from({ length: groups }, () => Array.from({ length: 4 }, () => new Float32Array(count)));

describe('filter of lanes', () => {
  it('is the plain sum for every length from 1 to 67 and one to three groups, with what came before', () => {
    for (let count = 1; count <= 67; count++) {
      const groups = 1 + (count % 3), tapCount = 4 * (1 + (count % 9));
      const taps = Float32Array.from(makeNoise(tapCount, 900 + count));
      const rows = noiseRows(groups, count, 31 * count), before = noiseRows(groups, tapCount, 77 * count + 5);
      const out = filter(rows, before, taps);
      out.forEach((lanes, g) => lanes.forEach((y, c) => {
        const expected = referenceFilter(rows[g][c], taps, before[g][c]);
        // tapCount products below 1/4 summed in f32: each sum rounds by 2^-24 of at most tapCount / 4.
        const most = tapCount * (tapCount / 4) * 2 ** -23;
        for (let i = 0; i < count; i++) expect(Math.abs(y[i] - expected[i]), `length ${count} group ${g} lane ${c} frame ${i}`).toBeLessThan(most);
      }));
    }
  });

  it('gives a frame the same bits wherever a row is cut', () => {
    const taps = Float32Array.from(makeNoise(32, 3)), rows = noiseRows(1, 67, 12);
    const [whole] = filter(rows, silence(1, 32), taps);
    for (const cut of [33, 34, 35, 36, 50]) {
      const [rest] = filter([rows[0].map((x) => x.subarray(cut))], [rows[0].map((x) => x.subarray(cut - 32, cut))], taps);
      rest.forEach((y, c) => expect(Array.from(y)).toEqual(Array.from(whole[c].subarray(cut))));
    }
  });

  it('keeps lanes apart, silence silent, and the first tap in its place', () => {
    const taps = Float32Array.from([0.5, 0, 0, -0.25]);
    const rows = silence(1, 9);
    rows[0][2][3] = 1;
    const [out] = filter(rows, silence(1, 4), taps);
    expect(Array.from(out[2])).toEqual([0, 0, 0, 0.5, 0, 0, -0.25, 0, 0]);
    for (const c of [0, 1, 3]) expect(out[c].every((v) => v === 0)).toBe(true);
  });

  it('passes a NaN on for as many frames as there are taps, full scale without a limit, and denormals', () => {
    const taps = Float32Array.from([1, 1, 1, 1]);
    const rows = silence(1, 12);
    rows[0][0][2] = NaN;
    rows[0][1].fill(1);
    rows[0][2].fill(1e-40);
    const [out] = filter(rows, silence(1, 4), taps);
    expect(Array.from(out[0], Number.isNaN)).toEqual([false, false, true, true, true, true, false, false, false, false, false, false]);
    expect(Array.from(out[1])).toEqual([1, 2, 3, 4, 4, 4, 4, 4, 4, 4, 4, 4]);
    expect(out[2][11]).toBeCloseTo(4e-40, 43);
  });
});
