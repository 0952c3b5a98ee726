import { computeCrc16, computeCrc8 } from './flac-frame.js';
import type { FrameHeader } from './flac-frame.js';
import { decodeWithLibrary } from './flac-library.js';
import { parseFrame } from './flac-subframes.js';

export interface FrameBytes {
  /** One whole frame. */
  bytes: Uint8Array;
  header: FrameHeader;
}

/** Bit depths that the decoder library scales; at others it divides by 0. Value: code in the frame header. */
const DEPTH_CODES: Record<number, number> = { 8: 1, 16: 4, 24: 6, 32: 7 };

/** Adding and taking away 1.5 * 2^52 rounds a float64 to the nearest integer, several times as fast as Math.round. */
const ROUNDER = 6755399441055744;

/**
 * Decodes whole frames: with libFLAC where the library can, else in plain arithmetic.
 * @returns planar samples scaled by 2^-(bits-1), one entry per frame; undefined for a frame that cannot be decoded
 */
export async function decodeFrames(frames: FrameBytes[], bitsPerSample: number): Promise<Array<Float32Array[] | undefined>> {
  if (frames.length === 0) return [];
  if (!(bitsPerSample in DEPTH_CODES)) {
    const step = 2 ** (1 - bitsPerSample);
    return frames.map(({ bytes, header }) => parseFrame(bytes, header, bitsPerSample)?.channels.map((c) => Float32Array.from(c, (v) => v * step)));
  }
  const lengths = frames.map((f) => f.header.blockFrames);
  const result = await decodeWithLibrary(frames.map((f) => ({ bytes: renumberFrame(f, bitsPerSample), blockFrames: f.header.blockFrames })));
  if ('single' in result) return result.single.map((channels) => channels && rescale(channels, bitsPerSample));
  return cutFrames(rescale(result.whole, bitsPerSample), lengths);
}

/**
 * Writes the frame under the number 0: libFLAC would fill a jump between numbers with silence, and a reader that jumps on purpose
 * must not get that. What the header leaves to STREAMINFO is written into it, as libFLAC sees frames only.
 */
function renumberFrame({ bytes, header }: FrameBytes, bitsPerSample: number): Uint8Array {
  const blockCode = bytes[2] >> 4;
  const blockBytes = blockCode === 6 ? 1 : blockCode === 7 ? 2 : 0;
  const rateCode = bytes[2] & 15;
  const blockAt = header.headerBytes - 1 - (rateCode === 12 ? 1 : rateCode >= 13 ? 2 : 0) - blockBytes;
  const newHeaderBytes = 6 + blockBytes;
  const out = new Uint8Array(newHeaderBytes + bytes.length - header.headerBytes);
  out[0] = 0xff;
  out[1] = 0xf8;
  // Any rate will do (9: 44100 Hz), the samples do not depend on it.
  out[2] = (blockCode << 4) | 9;
  out[3] = (header.channelCode << 4) | (DEPTH_CODES[bitsPerSample] << 1);
  out.set(bytes.subarray(blockAt, blockAt + blockBytes), 5);
  out[5 + blockBytes] = computeCrc8(out, 0, 5 + blockBytes);
  out.set(bytes.subarray(header.headerBytes), newHeaderBytes);
  const crc = computeCrc16(out, 0, out.length - 2);
  out[out.length - 2] = crc >> 8;
  out[out.length - 1] = crc & 255;
  return out;
}

/** The library divides by 2^(bits-1) - 1 in float32, which is undone without loss up to 24 bits; at 32 bits it divides by 2^31. */
function rescale(channels: Float32Array[], bitsPerSample: number): Float32Array[] {
  if (bitsPerSample > 24) return channels;
  const libraryScale = 2 ** (bitsPerSample - 1) - 1;
  const step = 2 ** (1 - bitsPerSample);
  for (const channel of channels) for (let i = 0; i < channel.length; i++) channel[i] = (channel[i] * libraryScale + ROUNDER - ROUNDER) * step;
  return channels;
}

function cutFrames(channels: Float32Array[], lengths: number[]): Float32Array[][] {
  let start = 0;
  return lengths.map((length) => {
    const part = channels.map((channel) => channel.subarray(start, start + length));
    start += length;
    return part;
  });
}
