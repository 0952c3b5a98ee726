/**
 * Values as bytes and back: their JSON, in which a typed array is a place behind it, then the arrays as they lie in memory (little-endian). They come back bit by bit
 * and cost next to nothing. Numbers that JSON has no text for (NaN, infinities, -0) are spelt out.
 */
const HEAD_BYTES = 8;

type Packed = { f32?: Place; f64?: Place; u8?: Place; number?: string };
/** First byte, counted from the arrays' beginning, and count of values. */
type Place = [number, number];

export function packBytes(value: unknown): Uint8Array {
  const arrays: { at: number; bytes: Uint8Array }[] = [];
  let end = 0;
  const place = (v: Float32Array | Float64Array | Uint8Array): Place => {
    const at = end;
    arrays.push({ at, bytes: new Uint8Array(v.buffer, v.byteOffset, v.byteLength) });
    end += roundUp(v.byteLength);
    return [at, v.length];
  };
  const text = new TextEncoder().encode(JSON.stringify(value, (_, v: unknown) => {
    if (typeof v === 'number') return Number.isFinite(v) && !Object.is(v, -0) ? v : { number: Object.is(v, -0) ? '-0' : String(v) };
    if (v instanceof Float32Array) return { f32: place(v) };
    if (v instanceof Float64Array) return { f64: place(v) };
    if (v instanceof Uint8Array) return { u8: place(v) };
    if (ArrayBuffer.isView(v)) throw new Error('a kind of array that packing does not know');
    return v;
  }));
  const base = HEAD_BYTES + roundUp(text.length), out = new Uint8Array(base + end);
  new DataView(out.buffer).setUint32(0, text.length, true);
  out.set(text, HEAD_BYTES);
  for (const { at, bytes } of arrays) out.set(bytes, base + at);
  return out;
}

export function unpackBytes(bytes: Uint8Array): unknown {
  const length = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength).getUint32(0, true), base = HEAD_BYTES + roundUp(length);
  // Each array has memory of its own: what is kept of a value keeps nothing else.
  const copy = ([at, count]: Place, width: number): ArrayBuffer => new Uint8Array(bytes.subarray(base + at, base + at + width * count)).buffer;
  return JSON.parse(new TextDecoder().decode(bytes.subarray(HEAD_BYTES, HEAD_BYTES + length)), (_, v: unknown) => {
    if (v === null || typeof v !== 'object' || Array.isArray(v)) return v;
    const p = v as Packed;
    if (p.number !== undefined) return Number(p.number);
    if (p.f32 !== undefined) return new Float32Array(copy(p.f32, 4));
    if (p.f64 !== undefined) return new Float64Array(copy(p.f64, 8));
    if (p.u8 !== undefined) return new Uint8Array(copy(p.u8, 1));
    return v;
  });
}

function roundUp(bytes: number): number {
  return 8 * Math.ceil(bytes / 8);
}
