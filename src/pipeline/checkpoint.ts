/** Where finished work is kept between runs. Saving must be atomic: what `load` gives was saved whole. */
export interface Checkpoint {
  load(key: string): Promise<string | undefined>;
  save(key: string, text: string): Promise<void>;
}

/** Keeps nothing. */
export const noCheckpoint: Checkpoint = { load: async () => undefined, save: async () => undefined };

/** Loads the result of a step or does it and saves it. Numbers survive the text exactly, so that a resumed run gives the same bytes. */
export async function resumeStep<T>(checkpoint: Checkpoint, key: string, work: () => Promise<T>): Promise<T> {
  const text = await checkpoint.load(key);
  if (text !== undefined) return unpackJson(text) as T;
  const value = await work();
  const packed = packJson(value);
  await checkpoint.save(key, packed);
  // What was computed and what would be loaded are the same values: not-a-number and typed arrays are kept by the packing.
  return value;
}

type Packed = { f32?: number[]; f64?: number[]; number?: string };

/** JSON with typed arrays of floats marked, so that they come back as what they were; numbers that JSON has no text for (NaN, infinities, -0) are spelt out. */
export function packJson(value: unknown): string {
  return JSON.stringify(value, (_, v: unknown) => {
    if (typeof v === 'number') return Number.isFinite(v) && !Object.is(v, -0) ? v : { number: Object.is(v, -0) ? '-0' : String(v) };
    if (v instanceof Float32Array) return { f32: Array.from(v) };
    if (v instanceof Float64Array) return { f64: Array.from(v) };
    return v;
  });
}

export function unpackJson(text: string): unknown {
  return JSON.parse(text, (_, v: unknown) => {
    if (v !== null && typeof v === 'object' && !Array.isArray(v)) {
      const p = v as Packed;
      if (p.number !== undefined) return Number(p.number);
      if (p.f32) return Float32Array.from(p.f32);
      if (p.f64) return Float64Array.from(p.f64);
    }
    return v;
  });
}
