import { beforeAll, describe, expect, it } from 'vitest';
import { encodeSamples } from '../../src/kernels/pcm-planes.js';
import type { Kernels } from '../../src/kernels/kernels.js';
import { referenceCode, referenceSample } from '../reference/survey.js';
import { allocGuarded, makeNoise, openKernels } from './support.js';

let k: Kernels;
beforeAll(async () => { k = await openKernels(4 << 20); });

const CODINGS = { u8: 1, s16: 2, s24: 3, s32: 4, f32: 5 } as const;
type Row = { coding: keyof typeof CODINGS; at: number; stride: number } | null;
const LENGTHS = [...Array.from({ length: 67 }, (_, n) => n + 1), 256];

describe('planar rows from bytes', () => {
  const layouts: [string, Row[]][] = [
    ['four neighbours of eight 16-bit channels', [0, 1, 2, 3].map((c) => ({ coding: 's16', at: 2 * c + 8, stride: 16 }))],
    ['three neighbours', [0, 1, 2].map((c) => ({ coding: 's16', at: 2 * c, stride: 6 }))],
    ['a 16-bit row at an odd address', [{ coding: 's16', at: 1, stride: 2 }]],
    ['16-bit channels in another order', [3, 1, 0, 2].map((c) => ({ coding: 's16', at: 2 * c, stride: 8 }))],
    ['24-bit channels', [0, 1, 2, 3].map((c) => ({ coding: 's24', at: 3 * c, stride: 12 }))],
    ['all kinds, one row empty', [{ coding: 'u8', at: 5, stride: 3 }, null, { coding: 's32', at: 3, stride: 9 }, { coding: 's24', at: 2, stride: 5 }]],
  ];
  it.each(layouts)('are the values of %s, for any length', (_, rows) => {
    for (const count of LENGTHS) {
      const mark = k.mark(), bytes = k.u8(k.alloc(16 * 260), 16 * 260), records = k.alloc(48), stride = count + 3, out = allocGuarded(k, rows.length * stride);
      makeNoise(bytes.length, 77).forEach((v, i) => { bytes[i] = Math.floor((v + 0.5) * 256); });
      k.i32(records, 12).fill(0);
      rows.forEach((r, c) => { if (r) k.i32(records, 12).set([bytes.byteOffset + r.at, r.stride, CODINGS[r.coding]], 3 * c); });
      out.values.fill(-7);
      k.fn.planesFromPcm(records, rows.length, count, out.ptr, 4 * stride);
      const expected = rows.flatMap((r) => Array.from({ length: stride }, (_v, i) => (i >= count ? -7 : r ? Math.fround(referenceSample(bytes, r.at + i * r.stride, r.coding)) : 0)));
      expect(Array.from(out.values)).toEqual(expected);
      out.expectIntact();
      k.release(mark);
    }
  });

  it.each([4, 5])('keep the bits of 32-bit floats %i bytes apart', (stride) => {
    const mark = k.mark(), values = Float32Array.of(0.25, -0, 1e-40, -1e-31, NaN, Infinity, 3e38), from = k.alloc(64), to = k.allocF32(7), records = k.alloc(48), view = new DataView(k.memory.buffer);
    values.forEach((v, i) => view.setFloat32(from + i * stride, v, true));
    k.i32(records, 3).set([from, stride, CODINGS.f32]);
    k.fn.planesFromPcm(records, 1, 7, to, 28);
    expect(k.f32(to, 7)).toEqual(values);
    k.release(mark);
  });
});

describe('codes of samples', () => {
  /** Random samples up to 1.2 times full scale, and every special value somewhere. */
  function makeSamples(count: number, seed: number, bits: 16 | 24): Float32Array {
    const step = 2 ** (1 - bits), half = step / 2, next = 2 ** -24;
    const special = [0, -0, NaN, Infinity, -Infinity, 1, -1, 1 - step, 1 - half, -1 - half, -1 - step, 3e38, -3e38, 1e-40, -1e-40, half, -half, 1.5 * step, -1.5 * step, 2.5 * step, -2.5 * step, half * (1 - next), -half * (1 + 2 * next), 0.5 + half, -0.5 - half];
    const places = makeNoise(count, seed + 1);
    return Float32Array.from(makeNoise(count, seed), (v, i) => (places[i] < -0.1 ? special[Math.floor((places[i] + 0.5) * 1e4) % special.length] : 2.4 * v));
  }

  it.each([16, 24] as const)('of %i bit are rounded, halves up, and clipped, for any length', (bits) => {
    const width = bits === 16 ? 2 : 3;
    for (const count of LENGTHS) {
      const mark = k.mark(), samples = makeSamples(count, count, bits), from = k.allocF32(count), bytes = k.u8(k.alloc(3 * count + 64), 3 * count + 64).fill(0xa5), at = 17;
      k.f32(from, count).set(samples);
      encodeSamples(k, from, count, width, bytes.byteOffset + at);
      const view = new DataView(k.memory.buffer, bytes.byteOffset + at);
      samples.forEach((x, i) => expect(bits === 16 ? view.getInt16(2 * i, true) : view.getUint16(3 * i, true) + 65536 * view.getInt8(3 * i + 2), `sample ${x}`).toBe(referenceCode(x, bits) + 0));
      expect(bytes.every((v, i) => v === 0xa5 || (i >= at && i < at + width * count))).toBe(true);
      k.release(mark);
    }
  });

  it.each([16, 24] as const)('of %i bit come back from every code that 16 bit have, and a little beside', (bits) => {
    const mark = k.mark(), codes = Array.from({ length: 65536 }, (_, i) => i - 32768), from = k.allocF32(65536), to = k.alloc(3 * 65536), view = new DataView(k.memory.buffer), scale = 2 ** (bits - 1);
    for (const beside of [0, 0.498, -0.498]) {
      k.f32(from, 65536).set(codes.map((c) => (c + beside) / scale));
      encodeSamples(k, from, 65536, bits === 16 ? 2 : 3, to);
      const wrong = codes.filter((c, i) => (bits === 16 ? view.getInt16(to + 2 * i, true) : view.getUint16(to + 3 * i, true) + 65536 * view.getInt8(to + 3 * i + 2)) !== c);
      expect(wrong).toEqual([]);
    }
    k.release(mark);
  });

  it('are the bits of floats', () => {
    const mark = k.mark(), samples = makeSamples(67, 5, 24), from = k.allocF32(67), to = k.allocF32(68);
    k.f32(from, 67).set(samples);
    encodeSamples(k, from, 67, 4, to);
    expect(k.f32(to, 67)).toEqual(samples);
    k.release(mark);
  });
});
