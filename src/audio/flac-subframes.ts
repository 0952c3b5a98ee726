import { BitReader } from './bit-reader.js';
import type { FrameHeader } from './flac-frame.js';

/** A frame read to its end. */
export interface ParsedFrame {
  /** Integer samples, one array per channel. */
  channels: Float64Array[];
  /** Bytes of the frame with its CRC-16 (which is not checked here). */
  byteLength: number;
}

/** Fixed predictors of order 0 to 4 (RFC 9639 section 9.2.5), newest sample first. */
const FIXED_COEFFICIENTS = [[], [1], [2, -1], [3, -3, 1], [4, -6, 4, -1]];

/**
 * Reads the subframes of one frame (RFC 9639 section 9.2) in plain integer arithmetic. Slower than the decoder library; it serves
 * where the library cannot: at bit depths other than 8, 16, 24 and 32, and to find where a frame ends when the next one is damaged.
 * All sums stay below 2^53, so numbers are exact.
 * @param bytes the frame from its sync code on, perhaps followed by more
 * @returns undefined where the bytes are no whole, valid frame
 */
export function parseFrame(bytes: Uint8Array, header: FrameHeader, bitsPerSample: number): ParsedFrame | undefined {
  const bits = new BitReader(bytes, header.headerBytes);
  const channels: Float64Array[] = [];
  for (let c = 0; c < header.channelCount; c++) {
    const isDifference = (header.channelCode === 8 && c === 1) || (header.channelCode === 9 && c === 0) || (header.channelCode === 10 && c === 1);
    const samples = readSubframe(bits, header.blockFrames, bitsPerSample + (isDifference ? 1 : 0));
    if (!samples || bits.isOverrun) return undefined;
    channels.push(samples);
  }
  const byteLength = bits.nextByte + 2;
  if (byteLength > bytes.length) return undefined;
  if (header.channelCode >= 8) restoreStereo(channels[0], channels[1], header.channelCode);
  return { channels, byteLength };
}

function readSubframe(bits: BitReader, blockFrames: number, sampleBits: number): Float64Array | undefined {
  if (bits.readUnsigned(1) !== 0) return undefined;
  const type = bits.readUnsigned(6);
  const wasted = bits.readUnsigned(1) === 1 ? bits.readUnary() + 1 : 0;
  const width = sampleBits - wasted;
  if (width <= 0) return undefined;
  const samples = new Float64Array(blockFrames);
  if (type === 0) samples.fill(bits.readSigned(width));
  else if (type === 1) for (let i = 0; i < blockFrames; i++) samples[i] = bits.readSigned(width);
  else if (type >= 8 && type <= 12) { if (!readPredicted(bits, samples, width, type - 8, false)) return undefined; }
  else if (type >= 32) { if (!readPredicted(bits, samples, width, type - 31, true)) return undefined; }
  else return undefined;
  if (wasted > 0) for (let i = 0; i < blockFrames; i++) samples[i] *= 2 ** wasted;
  return samples;
}

function readPredicted(bits: BitReader, samples: Float64Array, width: number, order: number, isLinear: boolean): boolean {
  if (order > samples.length) return false;
  for (let i = 0; i < order; i++) samples[i] = bits.readSigned(width);
  let coefficients = FIXED_COEFFICIENTS[order];
  let scale = 1;
  if (isLinear) {
    const precision = bits.readUnsigned(4) + 1;
    const shift = bits.readSigned(5);
    if (precision === 16 || shift < 0) return false;
    coefficients = Array.from({ length: order }, () => bits.readSigned(precision));
    scale = 2 ** -shift;
  }
  if (!readResidual(bits, samples, order)) return false;
  for (let i = order; i < samples.length; i++) {
    let sum = 0;
    for (let k = 0; k < order; k++) sum += coefficients[k] * samples[i - 1 - k];
    samples[i] += Math.floor(sum * scale);
  }
  return true;
}

/** Reads the coded residual (RFC 9639 section 9.2.7) into samples[order...]. */
function readResidual(bits: BitReader, samples: Float64Array, order: number): boolean {
  const method = bits.readUnsigned(2);
  if (method > 1) return false;
  const parameterBits = method === 0 ? 4 : 5;
  const partitionOrder = bits.readUnsigned(4);
  const partitionFrames = samples.length >> partitionOrder;
  if (partitionFrames << partitionOrder !== samples.length || partitionFrames < order) return false;
  for (let p = 0, i = order; p < 1 << partitionOrder; p++) {
    const end = (p + 1) * partitionFrames;
    const parameter = bits.readUnsigned(parameterBits);
    if (parameter === (1 << parameterBits) - 1) {
      const rawBits = bits.readUnsigned(5);
      for (; i < end; i++) samples[i] = bits.readSigned(rawBits);
    } else {
      const factor = 2 ** parameter;
      for (; i < end; i++) {
        const folded = bits.readUnary() * factor + bits.readUnsigned(parameter);
        samples[i] = folded % 2 === 0 ? folded / 2 : -(folded + 1) / 2;
      }
    }
    if (bits.isOverrun) return false;
  }
  return true;
}

/** Undoes left/side (8), side/right (9) and mid/side (10), RFC 9639 section 9.1.3. */
function restoreStereo(first: Float64Array, second: Float64Array, channelCode: number): void {
  for (let i = 0; i < first.length; i++) {
    const a = first[i];
    const b = second[i];
    if (channelCode === 8) second[i] = a - b;
    else if (channelCode === 9) first[i] = a + b;
    else {
      const mid = a * 2 + (Math.abs(b) % 2);
      first[i] = (mid + b) / 2;
      second[i] = (mid - b) / 2;
    }
  }
}
