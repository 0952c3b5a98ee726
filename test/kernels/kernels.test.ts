import { describe, expect, it } from 'vitest';
import { VolaryError } from '../../src/schema/errors.js';
import { compileKernels, createKernels } from '../../src/kernels/kernels.js';
import { loadKernelsFile } from '../../src/node/kernels-file.js';

describe('kernel host', () => {
  it('gives aligned memory, takes it back, and says when it is used up', async () => {
    const k = createKernels(await loadKernelsFile(), 1 << 20);
    const start = k.mark();
    expect(start).toBeGreaterThanOrEqual(k.fn.heapStart());
    const a = k.alloc(3);
    const b = k.alloc(5, 64);
    expect(a % 16).toBe(0);
    expect(b % 64).toBe(0);
    expect(b).toBeGreaterThanOrEqual(a + 3);
    expect(k.freeBytes()).toBeGreaterThanOrEqual((1 << 20) - 128);
    k.release(start);
    expect(k.alloc(1)).toBe(a);
    expect(() => k.alloc(4 << 20)).toThrow(VolaryError);
    expect(() => k.alloc(-1)).toThrow(VolaryError);
    expect(() => k.alloc(NaN)).toThrow(VolaryError);
    expect(() => k.release(0)).toThrow(/mark/);
    expect(() => k.release(k.mark() + 16)).toThrow(/mark/);
  });

  it('never grows, and instances share nothing', async () => {
    const wasm = await loadKernelsFile();
    const [k, other] = [createKernels(wasm, 1 << 20), createKernels(wasm, 1 << 20)];
    expect(() => k.memory.grow(1)).toThrow(RangeError);
    const p = k.allocF32(4);
    const q = other.allocF32(4);
    expect(q).toBe(p);
    k.f32(p, 4).fill(7);
    expect(Array.from(other.f32(q, 4))).toEqual([0, 0, 0, 0]);
  });

  it('refuses what is no module, and memory that cannot be had', async () => {
    await expect(compileKernels(new Uint8Array([1, 2, 3]))).rejects.toThrow(VolaryError);
    const wasm = await loadKernelsFile();
    for (const bytes of [-1, NaN, Infinity, 2 ** 33]) expect(() => createKernels(wasm, bytes)).toThrow(/memory/);
  });
});
