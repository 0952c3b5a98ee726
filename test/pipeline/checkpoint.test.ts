import { describe, expect, it } from 'vitest';
import { resumeCells, resumeStep, type Checkpoint } from '../../src/pipeline/checkpoint.js';
import { packBytes, unpackBytes } from '../../src/pipeline/pack-bytes.js';
import { makeRandom } from '../model/clock-synthetic.js';

const roundTrip = (v: unknown): unknown => unpackBytes(packBytes(v));
const ODD = [NaN, -0, 0, Infinity, -Infinity, 5e-324, -2.2250738585072014e-308, 1.7976931348623157e308, 0.1, 1 / 3, -1e-7, 2 ** 53];

describe('numbers packed as bytes', () => {
  it('come back bit by bit, in typed arrays and outside', () => {
    const f64 = Float64Array.from(ODD);
    const f32 = Float32Array.from([...ODD, 1e-45, -1.1754943508222875e-38, 3.4028234663852886e38]);
    const back = roundTrip({ f: f64, g: f32, list: ODD, one: -0, deep: [{ a: [NaN] }, null, 'text', true, []] }) as { f: Float64Array; g: Float32Array; list: number[]; one: number; deep: unknown };
    expect(back.f).toBeInstanceOf(Float64Array);
    expect(back.g).toBeInstanceOf(Float32Array);
    expect(new BigUint64Array(back.f.buffer)).toEqual(new BigUint64Array(f64.buffer));
    expect(new Uint32Array(back.g.buffer)).toEqual(new Uint32Array(f32.buffer));
    expect(back.list.map((v, k) => Object.is(v, ODD[k]))).toEqual(ODD.map(() => true));
    expect(Object.is(back.one, -0)).toBe(true);
    expect(back.deep).toEqual([{ a: [NaN] }, null, 'text', true, []]);
    expect((roundTrip(new Float32Array(0)) as Float32Array).length).toBe(0);
  });

  it('come back whatever their bits', () => {
    const { uniform } = makeRandom(12);
    const bits = Uint32Array.from({ length: 20000 }, () => Math.floor(uniform() * 2 ** 32));
    const f32 = new Float32Array(bits.buffer).map((v) => (Number.isNaN(v) ? NaN : v));
    const f64 = new Float64Array(bits.buffer.slice(0)).map((v) => (Number.isNaN(v) ? NaN : v));
    expect(new Uint32Array((roundTrip(f32) as Float32Array).buffer)).toEqual(new Uint32Array(f32.buffer));
    expect(new BigUint64Array((roundTrip(f64) as Float64Array).buffer)).toEqual(new BigUint64Array(f64.buffer));
  });
});

describe('arrays packed as bytes', () => {
  it('come back, views into larger memory too; an array of another kind is refused', () => {
    const all = Uint8Array.from({ length: 300 }, (_, k) => k & 255);
    for (let n = 0; n < 20; n++) expect(roundTrip({ a: all.subarray(n, 280 - n) })).toEqual({ a: all.slice(n, 280 - n) });
    expect(roundTrip([all.subarray(1, 4), 'é', new Float64Array([0.1]), all.subarray(0, 0), new Float32Array(3)])).toEqual([all.slice(1, 4), 'é', new Float64Array([0.1]), new Uint8Array(0), new Float32Array(3)]);
    expect(roundTrip(new Float32Array(all.buffer, 8, 5).map(() => 0.1))).toEqual(new Float32Array(5).fill(0.1));
    expect(() => roundTrip({ a: new Uint32Array(2) })).toThrow('packing does not know');
  });
});

describe('a step', () => {
  const makeStore = (): Checkpoint & { kept: Map<string, Uint8Array> } => {
    const kept = new Map<string, Uint8Array>();
    return { kept, load: async (k) => kept.get(k), save: async (k, bytes) => void kept.set(k, bytes) };
  };

  it('is done once; the second time its saved result stands, the same as the first', async () => {
    const store = makeStore();
    let runs = 0;
    const work = async (): Promise<{ x: Float64Array }> => { runs++; return { x: Float64Array.from([1 / 3, -0, NaN]) }; };
    const first = await resumeStep(store, 'a', work);
    const second = await resumeStep(store, 'a', work);
    expect(runs).toBe(1);
    expect(second).toEqual(first);
    await resumeStep(store, 'b', work);
    expect(runs).toBe(2);
  });

  it('that could not read its recordings gives its result and is not saved', async () => {
    const store = makeStore();
    expect(await resumeStep(store, 'a', async (spoil) => { spoil(); return 1; })).toBe(1);
    let told = 0, unread = 0;
    const run = (isUnread: boolean): Promise<string> => resumeCells(store, 'b', 2, () => { told++; }, async (tell) => { tell(); tell(isUnread); return 'done'; }, () => { unread++; });
    expect(await run(true)).toBe('done');
    expect([store.kept.size, told, unread]).toEqual([0, 2, 1]);
    await run(false);
    expect([[...store.kept.keys()], told, unread]).toEqual([['b'], 4, 1]);
  });

  it('that fails is not saved', async () => {
    const store = makeStore();
    await expect(resumeStep(store, 'a', async () => { throw new Error('no'); })).rejects.toThrow('no');
    expect(store.kept.size).toBe(0);
  });
});
