import { quoteName, VolaryError } from '../schema/errors.js';
import { readAscii, viewOf } from './byte-window.js';

/** What a format chunk says, after its contradictions are settled. */
export interface WavFormat {
  sampleRateHz: number;
  channelCount: number;
  sampleFormat: 'pcm' | 'float';
  /** Bytes of one sample as stored. */
  containerBytes: number;
  validBits: number;
  /** Bytes of one frame: channelCount * containerBytes. */
  blockBytes: number;
}

const TAG_PCM = 0x0001;
const TAG_FLOAT = 0x0003;
const TAG_EXTENSIBLE = 0xfffe;
/** Bytes 2..15 of every sub-format GUID that only wraps a 16-bit format tag (EBU Tech 3306 Annex A.2). */
const GUID_TAIL = [0x00, 0x00, 0x00, 0x00, 0x10, 0x00, 0x80, 0x00, 0x00, 0xaa, 0x00, 0x38, 0x9b, 0x71];
const CODEC_NAMES: Record<number, string> = {
  0x0002: 'ADPCM', 0x0006: 'A-law', 0x0007: 'mu-law', 0x0011: 'IMA ADPCM', 0x0031: 'GSM 6.10', 0x0050: 'MPEG', 0x0055: 'MPEG layer 3',
  0x0092: 'AC-3', 0x0161: 'Windows Media Audio', 0x0162: 'Windows Media Audio', 0x674f: 'Ogg Vorbis', 0xf1ac: 'FLAC inside WAVE',
};

/**
 * Reads a format chunk (RIFF/WAVE, RF64 and Wave64 share it; layout: EBU Tech 3306 Annex A.1 and A.2).
 * @param bytes payload of the chunk, at least its first 40 bytes where the chunk is that long
 * @param warnings one line is added for every contradiction, saying which field was believed
 * @throws VolaryError 'bad-audio' for impossible fields, 'unsupported-audio' for codecs other than PCM and IEEE float
 */
export function parseWavFormat(bytes: Uint8Array, fileName: string, warnings: string[]): WavFormat {
  const where = quoteName(fileName);
  if (bytes.length < 16) throw new VolaryError('bad-audio', { what: 'format chunk is too short', where, got: `${bytes.length} bytes`, expected: 'at least 16' });
  const view = viewOf(bytes);
  const channelCount = view.getUint16(2, true);
  const sampleRateHz = view.getUint32(4, true);
  const bits = view.getUint16(14, true);
  if (channelCount === 0) throw new VolaryError('bad-audio', { what: 'format chunk declares no channels', where, got: '0 channels', expected: 'at least 1' });
  if (sampleRateHz === 0) throw new VolaryError('bad-audio', { what: 'format chunk declares no sample rate', where, got: '0 Hz', expected: 'more than 0 Hz' });
  const { sampleFormat, validBits } = readCoding(bytes, bits, where, warnings);
  const containerBytes = Math.ceil(bits / 8);
  checkDepth(sampleFormat, bits, where);
  warnAboutRate(sampleRateHz, warnings);
  const blockBytes = settleBlockSize(view, channelCount, containerBytes, sampleRateHz, where, warnings);
  return { sampleRateHz, channelCount, sampleFormat, containerBytes, validBits, blockBytes };
}

function readCoding(bytes: Uint8Array, bits: number, where: string, warnings: string[]): { sampleFormat: 'pcm' | 'float'; validBits: number } {
  const view = viewOf(bytes);
  let tag = view.getUint16(0, true);
  let validBits = bits;
  if (tag === TAG_EXTENSIBLE) {
    if (bytes.length < 40 || view.getUint16(16, true) < 22) {
      const got = bytes.length < 40 ? `${bytes.length} bytes` : `an extension of ${view.getUint16(16, true)} bytes`;
      throw new VolaryError('bad-audio', { what: 'extensible format chunk is too short', where, got, expected: '40 bytes with an extension of at least 22' });
    }
    if (GUID_TAIL.some((b, i) => bytes[26 + i] !== b)) {
      const guid = Array.from(bytes.subarray(24, 40), (b) => b.toString(16).padStart(2, '0')).join('');
      throw new VolaryError('unsupported-audio', { what: 'unknown sub-format', where, got: guid, expected: 'PCM or IEEE float' });
    }
    tag = view.getUint16(24, true);
    validBits = settleValidBits(view.getUint16(18, true), bits, warnings);
  }
  if (tag === TAG_PCM) return { sampleFormat: 'pcm', validBits };
  if (tag === TAG_FLOAT) return { sampleFormat: 'float', validBits: bits };
  const known = CODEC_NAMES[tag];
  throw new VolaryError('unsupported-audio', {
    what: 'unsupported codec', where, got: `format tag 0x${tag.toString(16).padStart(4, '0')}${known ? ` (${known})` : ''}`,
    expected: 'PCM or IEEE float', mend: 'convert the file to PCM or FLAC',
  });
}

function settleValidBits(declared: number, containerBits: number, warnings: string[]): number {
  if (declared >= 1 && declared <= containerBits) return declared;
  warnings.push(`format chunk declares ${declared} valid bits in a container of ${containerBits} bits; believed the container`);
  return containerBits;
}

function checkDepth(sampleFormat: 'pcm' | 'float', bits: number, where: string): void {
  const fits = sampleFormat === 'float' ? bits === 32 || bits === 64 : bits >= 1 && bits <= 32;
  if (fits) return;
  const expected = sampleFormat === 'float' ? '32 or 64 bits' : '1 to 32 bits';
  throw new VolaryError('unsupported-audio', { what: `unusable bit depth for ${sampleFormat === 'float' ? 'floating point' : 'PCM'} samples`, where, got: `${bits} bits`, expected });
}

/** Outside 1 kHz .. 1 MHz no sound recorder works (common practice, no source): such a rate is a lie more often than not. */
export function warnAboutRate(sampleRateHz: number, warnings: string[]): void {
  if (sampleRateHz < 1000 || sampleRateHz > 1_000_000) warnings.push(`implausible sample rate: ${sampleRateHz} Hz, expected 1000 to 1000000 Hz; used as declared`);
}

/**
 * The block size is declared and also follows from channels and bits. Where they differ the byte rate is the witness:
 * it must confirm channels and bits, otherwise nothing in the header can be trusted.
 */
function settleBlockSize(view: DataView, channelCount: number, containerBytes: number, rateHz: number, where: string, warnings: string[]): number {
  const byteRate = view.getUint32(8, true);
  const blockAlign = view.getUint16(12, true);
  const blockBytes = channelCount * containerBytes;
  const expectedByteRate = (rateHz * blockBytes) % 2 ** 32;
  if (blockAlign !== blockBytes) {
    const layout = `${channelCount} channels of ${containerBytes * 8} bits need ${blockBytes}`;
    if (byteRate !== expectedByteRate) {
      throw new VolaryError('bad-audio', { what: 'format chunk contradicts itself', where, got: `block size ${blockAlign} bytes`, expected: `${blockBytes} bytes, because ${layout}` });
    }
    warnings.push(`format chunk declares a block size of ${blockAlign} bytes but ${layout}; believed channels and bits, as the byte rate confirms them`);
  } else if (byteRate !== expectedByteRate) {
    warnings.push(`format chunk declares ${byteRate} bytes per second but ${rateHz} Hz in blocks of ${blockBytes} bytes make ${expectedByteRate}; believed the sample rate and the block size`);
  }
  return blockBytes;
}

/** Four printable characters, as every chunk identifier has. */
export function isChunkId(bytes: Uint8Array, offset: number): boolean {
  for (let i = 0; i < 4; i++) if (!(bytes[offset + i] >= 0x20 && bytes[offset + i] <= 0x7e)) return false;
  return true;
}

export function readChunkId(bytes: Uint8Array, offset: number): string {
  return readAscii(bytes, offset, 4);
}
