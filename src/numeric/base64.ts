/** Bytes as text and back, RFC 4648 section 4 with padding; the same in Node and browsers. */
const LETTERS = new TextEncoder().encode('ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/');
const PAD = 61;
const VALUES = new Uint8Array(256);
LETTERS.forEach((letter, value) => { VALUES[letter] = value; });

export function encodeBase64(bytes: Uint8Array): string {
  const out = new Uint8Array(4 * Math.ceil(bytes.length / 3)).fill(PAD);
  for (let i = 0, o = 0; i < bytes.length; i += 3, o += 4) {
    const left = bytes.length - i;
    const word = (bytes[i] << 16) | ((left > 1 ? bytes[i + 1] : 0) << 8) | (left > 2 ? bytes[i + 2] : 0);
    out[o] = LETTERS[word >> 18];
    out[o + 1] = LETTERS[(word >> 12) & 63];
    if (left > 1) out[o + 2] = LETTERS[(word >> 6) & 63];
    if (left > 2) out[o + 3] = LETTERS[word & 63];
  }
  return new TextDecoder().decode(out);
}

/** Undoes `encodeBase64`; for text that it gave. */
export function decodeBase64(text: string): Uint8Array {
  const letters = new TextEncoder().encode(text);
  let pads = 0;
  while (pads < 2 && letters[letters.length - 1 - pads] === PAD) pads++;
  const out = new Uint8Array((letters.length / 4) * 3 - pads);
  for (let i = 0, o = 0; i < letters.length; i += 4, o += 3) {
    const word = (VALUES[letters[i]] << 18) | (VALUES[letters[i + 1]] << 12) | (VALUES[letters[i + 2]] << 6) | VALUES[letters[i + 3]];
    out[o] = word >> 16;
    if (o + 1 < out.length) out[o + 1] = (word >> 8) & 255;
    if (o + 2 < out.length) out[o + 2] = word & 255;
  }
  return out;
}
