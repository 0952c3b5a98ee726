import { decodeBase64, encodeBase64 } from '../numeric/base64.js';

type Packed = { f32?: string; f64?: string; u8?: string; number?: string };

/**
 * JSON with typed arrays as their bytes in base64 (little-endian), so that they come back bit by bit and cost little; numbers that JSON has no
 * text for (NaN, infinities, -0) are spelt out.
 */
export function packJson(value: unknown): string {
  return JSON.stringify(value, (_, v: unknown) => {
    if (typeof v === 'number') return Number.isFinite(v) && !Object.is(v, -0) ? v : { number: Object.is(v, -0) ? '-0' : String(v) };
    if (v instanceof Float32Array) return { f32: encodeArray(v) };
    if (v instanceof Float64Array) return { f64: encodeArray(v) };
    if (v instanceof Uint8Array) return { u8: encodeArray(v) };
    if (ArrayBuffer.isView(v)) throw new Error('a kind of array that checkpoints do not know');
    return v;
  });
}

export function unpackJson(text: string): unknown {
  return JSON.parse(text, (_, v: unknown) => {
    if (v !== null && typeof v === 'object' && !Array.isArray(v)) {
      const p = v as Packed;
      if (p.number !== undefined) return Number(p.number);
      if (p.f32 !== undefined) return new Float32Array(decodeBase64(p.f32).buffer);
      if (p.f64 !== undefined) return new Float64Array(decodeBase64(p.f64).buffer);
      if (p.u8 !== undefined) return decodeBase64(p.u8);
    }
    return v;
  });
}

function encodeArray(v: Float32Array | Float64Array | Uint8Array): string {
  return encodeBase64(new Uint8Array(v.buffer, v.byteOffset, v.byteLength));
}
