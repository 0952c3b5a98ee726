// A plain FLAC encoder after RFC 9639 for small test streams; shares no code with the reader.

export interface FlacOptions {
  bits?: number;
  rate?: number;
  blockFrames?: number;
  /** Lengths of the blocks, for a stream whose blocks vary. */
  blockLengths?: number[];
  /** 0 = unknown. */
  total?: number;
  /** Number of the first frame (or sample, where blocks vary). */
  firstNumber?: number;
  coding?: 'verbatim' | 'rice' | 'constant';
  /** Leave rate and bits in the frame headers to STREAMINFO. */
  isTerse?: boolean;
  /** Further metadata blocks, type and payload. */
  blocks?: Array<[number, number[]]>;
  /** Overrides in STREAMINFO, for streams that lie. */
  lie?: { channels?: number; bits?: number; rate?: number };
}

export interface BuiltFlac {
  bytes: Uint8Array;
  /** Byte offset of every frame, then the end. */
  frameOffsets: number[];
}

export function buildFlac(channels: number[][], options: FlacOptions = {}): BuiltFlac {
  const { bits = 16, rate = 44100, blockFrames = 16, total = channels[0].length, firstNumber = 0, blocks = [], lie = {} } = options;
  const lengths = options.blockLengths ?? splitEvenly(channels[0].length, blockFrames);
  const info = new BitString().put(options.blockLengths ? 16 : blockFrames, 16).put(options.blockLengths ? 65535 : blockFrames, 16).put(0, 24).put(0, 24)
    .put(lie.rate ?? rate, 20).put((lie.channels ?? channels.length) - 1, 3).put((lie.bits ?? bits) - 1, 5).put(total, 36).put(0, 128);
  const bytes: number[] = [0x66, 0x4c, 0x61, 0x43];
  const all: Array<[number, number[]]> = [[0, info.toBytes()], ...blocks];
  all.forEach(([type, payload], i) => bytes.push((i === all.length - 1 ? 128 : 0) | type, (payload.length >> 16) & 255, (payload.length >> 8) & 255, payload.length & 255, ...payload));
  const frameOffsets: number[] = [];
  let start = 0;
  lengths.forEach((length, i) => {
    frameOffsets.push(bytes.length);
    const number = firstNumber + (options.blockLengths ? start : i);
    bytes.push(...encodeFrame(channels.map((c) => c.slice(start, start + length)), number, bits, rate, options));
    start += length;
  });
  frameOffsets.push(bytes.length);
  return { bytes: Uint8Array.from(bytes), frameOffsets };
}

function splitEvenly(total: number, size: number): number[] {
  return Array.from({ length: Math.ceil(total / size) }, (_, i) => Math.min(size, total - i * size));
}

const BIT_CODES: Record<number, number> = { 8: 1, 12: 2, 16: 4, 20: 5, 24: 6, 32: 7 };

function encodeFrame(channels: number[][], number: number, bits: number, rate: number, options: FlacOptions): number[] {
  const length = channels[0].length;
  const bitCode = options.isTerse ? 0 : (BIT_CODES[bits] ?? 0);
  const head = new BitString().put(options.blockLengths ? 0xfff9 : 0xfff8, 16).put(7, 4).put(options.isTerse ? 0 : 13, 4).put(channels.length - 1, 4).put(bitCode, 3).put(0, 1);
  for (const b of encodeNumber(number)) head.put(b, 8);
  head.put(length - 1, 16);
  if (!options.isTerse) head.put(rate, 16);
  head.put(crc(head.toBytes(), 8, 0x07), 8);
  for (const samples of channels) encodeSubframe(head, samples, bits, options.coding ?? 'verbatim');
  const body = head.toBytes();
  const check = crc(body, 16, 0x8005);
  return [...body, check >> 8, check & 255];
}

function encodeSubframe(out: BitString, samples: number[], bits: number, coding: NonNullable<FlacOptions['coding']>): void {
  if (coding === 'constant') out.put(0, 8).put(samples[0], bits);
  else if (coding === 'verbatim') { out.put(1 << 1, 8); for (const s of samples) out.put(s, bits); }
  else {
    // Fixed predictor of order 1, one partition, Rice parameter bits - 2 in a field of 4 or 5 bits.
    const parameter = bits - 2;
    out.put(9 << 1, 8).put(samples[0], bits).put(bits > 16 ? 1 : 0, 2).put(0, 4).put(parameter, bits > 16 ? 5 : 4);
    for (let i = 1; i < samples.length; i++) {
      const residual = samples[i] - samples[i - 1];
      const folded = residual >= 0 ? residual * 2 : -residual * 2 - 1;
      for (let q = Math.floor(folded / 2 ** parameter); q > 0; q--) out.put(0, 1);
      out.put(1, 1).put(folded % 2 ** parameter, parameter);
    }
  }
}

function encodeNumber(value: number): number[] {
  if (value < 0x80) return [value];
  const rest: number[] = [];
  let left = value;
  let limit = 0x20;
  while (left >= limit * (rest.length === 0 ? 2 : 1)) {
    rest.unshift(0x80 | left % 64);
    left = Math.floor(left / 64);
    limit = 0x40 >> rest.length;
    if (left < limit) break;
  }
  return [((0xff00 >> (rest.length + 1)) & 0xff) | left, ...rest];
}

/** Bit by bit, most significant first, start 0. */
export function crc(bytes: number[], width: number, polynomial: number): number {
  let value = 0;
  for (const byte of bytes) {
    for (let k = 7; k >= 0; k--) {
      const top = (value >> (width - 1)) & 1;
      value = ((value << 1) & (2 ** width - 1)) ^ (top ^ ((byte >> k) & 1) ? polynomial : 0);
    }
  }
  return value;
}

class BitString {
  private readonly bits: number[] = [];

  put(value: number, width: number): this {
    const field = BigInt.asUintN(width, BigInt(value));
    for (let k = width - 1; k >= 0; k--) this.bits.push(Number((field >> BigInt(k)) & 1n));
    return this;
  }

  toBytes(): number[] {
    const bytes: number[] = [];
    for (let i = 0; i < this.bits.length; i += 8) {
      let byte = 0;
      for (let k = 0; k < 8; k++) byte = byte * 2 + (this.bits[i + k] ?? 0);
      bytes.push(byte);
    }
    return bytes;
  }
}
