/** STREAMINFO, RFC 9639 section 8.2. */
export interface StreamInfo {
  minBlockFrames: number;
  maxBlockFrames: number;
  sampleRateHz: number;
  channelCount: number;
  bitsPerSample: number;
  /** 0 where the writer did not know it. */
  totalFrames: number;
}

/** A frame header, RFC 9639 section 9.1. */
export interface FrameHeader {
  headerBytes: number;
  hasVariableBlocks: boolean;
  blockFrames: number;
  /** 4-bit code of the channel assignment: 0-7 independent, 8-10 stereo with a difference. */
  channelCode: number;
  channelCount: number;
  /** Bits per sample, 0 where the header points to STREAMINFO. */
  bitsPerSample: number;
  /** Hz, 0 where the header points to STREAMINFO. */
  sampleRateHz: number;
  /** Number of the frame, or of its first sample where blocks vary. */
  codedNumber: number;
}

const CRC8 = buildTable(8, 0x07);
const CRC16 = buildTable(16, 0x8005);
const RATES = [0, 88200, 176400, 192000, 8000, 16000, 22050, 24000, 32000, 44100, 48000, 96000];
const BITS = [0, 8, 12, -1, 16, 20, 24, 32];

function buildTable(width: number, polynomial: number): Uint16Array {
  const top = 1 << (width - 1);
  const mask = (1 << width) - 1;
  return Uint16Array.from({ length: 256 }, (_, byte) => {
    let crc = byte << (width - 8);
    for (let k = 0; k < 8; k++) crc = crc & top ? ((crc << 1) ^ polynomial) & mask : (crc << 1) & mask;
    return crc;
  });
}

/** CRC-8 of a frame header, polynomial x^8 + x^2 + x + 1, start 0 (RFC 9639 section 9.1.8). */
export function computeCrc8(bytes: Uint8Array, start: number, end: number): number {
  let crc = 0;
  for (let i = start; i < end; i++) crc = CRC8[crc ^ bytes[i]];
  return crc;
}

/** CRC-16 of a frame, polynomial x^16 + x^15 + x^2 + 1 (RFC 9639 section 9.3); 0 over a whole frame with its own CRC. */
export function computeCrc16(bytes: Uint8Array, start: number, end: number, crc = 0): number {
  for (let i = start; i < end; i++) crc = ((crc << 8) & 0xffff) ^ CRC16[(crc >> 8) ^ bytes[i]];
  return crc;
}

/** Reads a frame header at `p`, or undefined where none stands (sync code, reserved codes, CRC-8). */
export function parseFrameHeader(bytes: Uint8Array, p: number): FrameHeader | undefined {
  if (p + 6 > bytes.length || bytes[p] !== 0xff || (bytes[p + 1] & 0xfe) !== 0xf8) return undefined;
  const blockCode = bytes[p + 2] >> 4;
  const rateCode = bytes[p + 2] & 15;
  const channelCode = bytes[p + 3] >> 4;
  const bitsPerSample = BITS[(bytes[p + 3] >> 1) & 7];
  if (blockCode === 0 || rateCode === 15 || channelCode > 10 || bitsPerSample < 0 || (bytes[p + 3] & 1) !== 0) return undefined;
  const coded = readCodedNumber(bytes, p + 4);
  if (!coded) return undefined;
  let q = p + 4 + coded.length;
  const blockBytes = blockCode === 6 ? 1 : blockCode === 7 ? 2 : 0;
  const rateBytes = rateCode === 12 ? 1 : rateCode >= 13 ? 2 : 0;
  if (q + blockBytes + rateBytes + 1 > bytes.length) return undefined;
  const blockFrames = decodeBlockSize(blockCode, bytes, q);
  q += blockBytes;
  const sampleRateHz = decodeRate(rateCode, bytes, q);
  q += rateBytes;
  if (computeCrc8(bytes, p, q) !== bytes[q]) return undefined;
  const channelCount = channelCode < 8 ? channelCode + 1 : 2;
  return { headerBytes: q + 1 - p, hasVariableBlocks: (bytes[p + 1] & 1) === 1, blockFrames, channelCode, channelCount, bitsPerSample, sampleRateHz, codedNumber: coded.value };
}

function decodeBlockSize(code: number, bytes: Uint8Array, q: number): number {
  if (code === 1) return 192;
  if (code <= 5) return 144 << code;
  if (code === 6) return bytes[q] + 1;
  if (code === 7) return ((bytes[q] << 8) | bytes[q + 1]) + 1;
  return 1 << code;
}

function decodeRate(code: number, bytes: Uint8Array, q: number): number {
  if (code < 12) return RATES[code];
  if (code === 12) return bytes[q] * 1000;
  return ((bytes[q] << 8) | bytes[q + 1]) * (code === 14 ? 10 : 1);
}

/** The number is coded like UTF-8, extended to 7 bytes and 36 bits. */
function readCodedNumber(bytes: Uint8Array, p: number): { value: number; length: number } | undefined {
  const first = bytes[p];
  if (first < 0x80) return { value: first, length: 1 };
  const length = Math.clz32(~(first << 24));
  if (length < 2 || length > 7 || p + length > bytes.length) return undefined;
  let value = length === 7 ? 0 : first & (0x7f >> length);
  for (let i = 1; i < length; i++) {
    if ((bytes[p + i] & 0xc0) !== 0x80) return undefined;
    value = value * 64 + (bytes[p + i] & 0x3f);
  }
  return { value, length };
}

/** Largest length that a frame of this header can sensibly have: verbatim samples, one extra bit for a difference channel, and slack. */
export function boundFrameBytes(blockFrames: number, channelCount: number, bitsPerSample: number): number {
  return Math.ceil((channelCount * (blockFrames * (bitsPerSample + 1) + 64)) / 8) * 1.25 + 1024 | 0;
}
