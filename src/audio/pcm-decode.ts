/** How samples lie in the bytes of a WAVE data chunk: interleaved, little-endian, 8-bit unsigned, wider ones signed. */
export type SampleCoding = 'u8' | 's16' | 's24' | 's32' | 'f32' | 'f64';

export function sampleCodingOf(sampleFormat: 'pcm' | 'float', containerBytes: number): SampleCoding {
  if (sampleFormat === 'float') return containerBytes === 8 ? 'f64' : 'f32';
  return (['u8', 's16', 's24', 's32'] as const)[containerBytes - 1];
}

const IS_LITTLE_ENDIAN = new Uint8Array(Uint16Array.of(1).buffer)[0] === 1;

/**
 * Decodes interleaved bytes into planar float32, integers scaled by 2^-(container bits - 1) (8-bit: code 128 is 0).
 * @param bytes frameCount * into.length samples
 * @param into one array per channel, written from `intoOffset`; null for a channel that is not wanted
 * @param counts one number per channel, to which that of its samples below is added
 * @returns number of samples that are no finite float32 (NaN, infinite, or too large); they are written as 0
 */
export function decodeSamples(bytes: Uint8Array, coding: SampleCoding, frameCount: number, into: readonly (Float32Array | null)[], intoOffset: number, counts?: number[]): number {
  const channelCount = into.length;
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  let nonFinite = 0;
  for (let c = 0; c < channelCount; c++) {
    const out = into[c]?.subarray(intoOffset, intoOffset + frameCount);
    if (!out) continue;
    const before = nonFinite;
    switch (coding) {
      case 'u8': decodeU8(bytes, c, channelCount, out); break;
      case 's16':
        if (IS_LITTLE_ENDIAN && bytes.byteOffset % 2 === 0) decodeAligned16(bytes, c, channelCount, out);
        else for (let i = 0, p = c * 2; i < out.length; i++, p += channelCount * 2) out[i] = view.getInt16(p, true) / 32768;
        break;
      case 's24': decodeS24(bytes, c * 3, channelCount * 3, out); break;
      case 's32': for (let i = 0, p = c * 4; i < out.length; i++, p += channelCount * 4) out[i] = view.getInt32(p, true) / 2147483648; break;
      case 'f32': nonFinite += decodeFloat(out, (p) => view.getFloat32(p, true), c * 4, channelCount * 4); break;
      case 'f64': nonFinite += decodeFloat(out, (p) => view.getFloat64(p, true), c * 8, channelCount * 8); break;
    }
    if (counts) counts[c] += nonFinite - before;
  }
  return nonFinite;
}

function decodeU8(bytes: Uint8Array, start: number, step: number, out: Float32Array): void {
  for (let i = 0, p = start; i < out.length; i++, p += step) out[i] = (bytes[p] - 128) / 128;
}

/** The common case: about twice as fast as a DataView. */
function decodeAligned16(bytes: Uint8Array, start: number, step: number, out: Float32Array): void {
  const codes = new Int16Array(bytes.buffer, bytes.byteOffset, bytes.byteLength >> 1);
  for (let i = 0, p = start; i < out.length; i++, p += step) out[i] = codes[p] * (1 / 32768);
}

function decodeS24(bytes: Uint8Array, start: number, step: number, out: Float32Array): void {
  for (let i = 0, p = start; i < out.length; i++, p += step) out[i] = ((bytes[p] << 8) | (bytes[p + 1] << 16) | (bytes[p + 2] << 24)) / 2147483648;
}

function decodeFloat(out: Float32Array, get: (position: number) => number, start: number, step: number): number {
  let nonFinite = 0;
  for (let i = 0, p = start; i < out.length; i++, p += step) {
    out[i] = get(p);
    // Tested after the store: a float64 beyond the float32 range becomes infinite there.
    if (!Number.isFinite(out[i])) { out[i] = 0; nonFinite++; }
  }
  return nonFinite;
}
