import { VolaryError } from '../schema/errors.js';
import type { BroadcastTime } from './types.js';
import { buildLabelChunks, ChunkBytes, concatBytes } from './wav-labels.js';
import type { WavLabel } from './wav-labels.js';

export type WavEncoding = 'pcm16' | 'pcm24' | 'float32';

export interface WavSpec {
  sampleRateHz: number;
  channelCount: number;
  encoding: WavEncoding;
  /** Frames that will follow; the header needs it in advance, so that nothing has to be patched afterwards. */
  frameCount: number;
  broadcastTime?: BroadcastTime;
  labels?: readonly WavLabel[];
}

/** Bytes of a sample. */
export const SAMPLE_BYTES = { pcm16: 2, pcm24: 3, float32: 4 } as const satisfies Record<WavEncoding, number>;
const ALL_ONES_32 = 0xffffffff;
/** PCM or float by its first two bytes, then the tail that all such sub-formats share (EBU Tech 3306 Annex A.2). */
const GUID_TAIL = [0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xaa, 0, 0x38, 0x9b, 0x71];

/**
 * Writes a WAVE file piece by piece: RIFF, or RF64 where it gets too long for 32-bit sizes (EBU Tech 3306). Samples beyond
 * [-1, 1) are clipped to the nearest code, NaN becomes 0; float samples are written as they are.
 * @param blocks planar blocks of any length, one array per channel
 * @throws VolaryError 'bad-option' for an impossible spec, 'internal' when the blocks do not hold spec.frameCount frames
 * @example for await (const piece of writeWav(spec, blocks)) file.write(piece)
 */
export async function* writeWav(spec: WavSpec, blocks: Iterable<Float32Array[]> | AsyncIterable<Float32Array[]>): AsyncGenerator<Uint8Array> {
  const trailer = buildWavTrailer(spec);
  yield buildWavHeader(spec, trailer.length);
  let written = 0;
  for await (const block of blocks) {
    if (block.length !== spec.channelCount) throw new VolaryError('internal', { what: 'block to write has the wrong number of channels', got: `${block.length}`, expected: `${spec.channelCount}` });
    written += block[0].length;
    yield encodeFrames(block, spec.encoding);
  }
  if (written !== spec.frameCount) throw new VolaryError('internal', { what: 'blocks to write do not have the length announced', got: `${written} frames`, expected: `${spec.frameCount}` });
  if (trailer.length > 0) yield trailer;
}

/** A whole short file in memory, as for a clip. */
export function buildWavFile(spec: Omit<WavSpec, 'frameCount' | 'channelCount'>, channels: Float32Array[]): Uint8Array {
  const full: WavSpec = { ...spec, channelCount: channels.length, frameCount: channels[0]?.length ?? 0 };
  const trailer = buildWavTrailer(full);
  return concatBytes([buildWavHeader(full, trailer.length), encodeFrames(channels, spec.encoding), trailer]);
}

/** Everything before the first sample. `trailerBytes` is the length of what follows the last one. */
export function buildWavHeader(spec: WavSpec, trailerBytes = buildWavTrailer(spec).length): Uint8Array {
  checkSpec(spec);
  const dataBytes = spec.frameCount * spec.channelCount * SAMPLE_BYTES[spec.encoding];
  const fixed = [buildFormatChunk(spec)];
  if (spec.encoding === 'float32') fixed.push(new ChunkBytes('fact').u32(Math.min(spec.frameCount, ALL_ONES_32)).finish());
  if (spec.broadcastTime) fixed.push(buildBroadcastChunk(spec.broadcastTime));
  const riffBytes = 4 + fixed.reduce((sum, part) => sum + part.length, 0) + 8 + dataBytes + trailerBytes;
  const isLong = riffBytes >= ALL_ONES_32;
  const start = new ChunkBytes('').ascii(isLong ? 'RF64' : 'RIFF').u32(isLong ? ALL_ONES_32 : riffBytes).ascii('WAVE');
  if (isLong) {
    const table = new ChunkBytes('ds64').u64(riffBytes + 36).u64(dataBytes).u64(spec.frameCount).u32(0).finish();
    start.raw(table);
  }
  for (const part of fixed) start.raw(part);
  return start.ascii('data').u32(isLong ? ALL_ONES_32 : dataBytes).finishRaw();
}

/** Everything after the last sample: the pad byte of an odd data chunk and the labels. */
export function buildWavTrailer(spec: WavSpec): Uint8Array {
  const isOdd = (spec.frameCount * spec.channelCount * SAMPLE_BYTES[spec.encoding]) % 2 === 1;
  return concatBytes([new Uint8Array(isOdd ? 1 : 0), buildLabelChunks(spec.labels ?? [])]);
}

/** Interleaves and encodes planar samples, little-endian. */
export function encodeFrames(channels: readonly Float32Array[], encoding: WavEncoding): Uint8Array {
  const frames = channels[0]?.length ?? 0;
  const width = SAMPLE_BYTES[encoding];
  const step = width * channels.length;
  const out = new Uint8Array(frames * step);
  const view = new DataView(out.buffer);
  channels.forEach((samples, c) => {
    for (let i = 0, p = c * width; i < frames; i++, p += step) {
      if (encoding === 'float32') view.setFloat32(p, samples[i], true);
      else if (encoding === 'pcm16') view.setInt16(p, quantize(samples[i], 32768), true);
      else {
        const code = quantize(samples[i], 8388608);
        view.setUint16(p, code & 0xffff, true);
        out[p + 2] = (code >> 16) & 0xff;
      }
    }
  });
  return out;
}

function quantize(sample: number, fullScale: number): number {
  const code = Math.round(sample * fullScale);
  return code >= fullScale ? fullScale - 1 : code < -fullScale ? -fullScale : code;
}

function buildFormatChunk({ sampleRateHz, channelCount, encoding }: WavSpec): Uint8Array {
  const bits = SAMPLE_BYTES[encoding] * 8;
  const blockBytes = channelCount * SAMPLE_BYTES[encoding];
  const tag = encoding === 'float32' ? 3 : 1;
  // Some readers take extensible float for integers, so floats keep the plain tag at any number of channels.
  const isExtensible = channelCount > 2 && tag === 1;
  const chunk = new ChunkBytes('fmt ').u16(isExtensible ? 0xfffe : tag).u16(channelCount).u32(sampleRateHz).u32(sampleRateHz * blockBytes).u16(blockBytes).u16(bits);
  // Speaker mask 0: these channels are birds, not loudspeakers.
  if (isExtensible) chunk.u16(22).u16(bits).u32(0).u16(tag).raw(Uint8Array.from(GUID_TAIL));
  else if (tag === 3) chunk.u16(0);
  return chunk.finish();
}

/** EBU Tech 3285: fixed part of 602 bytes, version 0. */
function buildBroadcastChunk(time: BroadcastTime): Uint8Array {
  return new ChunkBytes('bext').field('', 256).field('', 32).field('', 32).field(time.originationDate, 10).field(time.originationTime, 8)
    .u64(time.timeReference).u16(0).field('', 254).finish();
}

function checkSpec({ sampleRateHz, channelCount, frameCount, encoding, broadcastTime }: WavSpec): void {
  const blockBytes = channelCount * SAMPLE_BYTES[encoding];
  const refuse = (what: string, got: number, expected: string): never => { throw new VolaryError('bad-option', { what, got: String(got), expected }); };
  if (!Number.isInteger(channelCount) || channelCount < 1 || blockBytes > 65535) refuse('wrong number of channels for a WAVE file', channelCount, `1 to ${Math.floor(65535 / SAMPLE_BYTES[encoding])}`);
  if (!Number.isInteger(sampleRateHz) || sampleRateHz < 1 || sampleRateHz * blockBytes > ALL_ONES_32) refuse('wrong sample rate for a WAVE file', sampleRateHz, 'a whole number of Hz that fits the header');
  if (!Number.isSafeInteger(frameCount) || frameCount < 0 || !Number.isSafeInteger(frameCount * blockBytes)) refuse('wrong length for a WAVE file', frameCount, 'a whole number of frames');
  const reference = broadcastTime?.timeReference ?? 0;
  if (!Number.isSafeInteger(reference) || reference < 0) refuse('wrong time reference for a WAVE file', reference, 'a whole number of samples since midnight');
}
