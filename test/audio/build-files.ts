// Builds small sound files byte by byte, independently of the writer under test.
import { openAudio } from '../../src/audio/open-audio.js';
import { createBytesSource } from '../../src/audio/bytes-source.js';
import type { AudioInfo, AudioReader, ByteSource } from '../../src/audio/types.js';

export function ascii(text: string): number[] { return Array.from(text, (c) => c.charCodeAt(0)); }
export function u16(v: number): number[] { return [v & 255, (v >> 8) & 255]; }
export function u32(v: number): number[] { return [v & 255, (v >>> 8) & 255, (v >>> 16) & 255, (v >>> 24) & 255]; }
export function u64(v: bigint): number[] { return [...u32(Number(v & 0xffffffffn)), ...u32(Number(v >> 32n))]; }
export function i16(...values: number[]): number[] { return values.flatMap((v) => u16(v & 0xffff)); }
export function i24(...values: number[]): number[] { return values.flatMap((v) => u32(v).slice(0, 3)); }
export function f32(...values: number[]): number[] { return [...new Uint8Array(Float32Array.from(values).buffer)]; }
export function f64(...values: number[]): number[] { return [...new Uint8Array(Float64Array.from(values).buffer)]; }

/** Identifier, size, payload, pad byte. `size` lies when given. */
export function chunk(id: string, payload: number[], size = payload.length): number[] {
  return [...ascii(id), ...u32(size), ...payload, ...(payload.length % 2 ? [0] : [])];
}

export interface FormatFields { tag?: number; channels?: number; rate?: number; bits?: number; block?: number; byteRate?: number; extension?: number[] }

/** A format chunk, EBU Tech 3306 Annex A.1. */
export function format({ tag = 1, channels = 1, rate = 8000, bits = 16, block = channels * Math.ceil(bits / 8), byteRate = rate * block, extension = [] }: FormatFields = {}): number[] {
  return chunk('fmt ', [...u16(tag), ...u16(channels), ...u32(rate), ...u32(byteRate), ...u16(block), ...u16(bits), ...extension]);
}

const GUID_TAIL = [0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xaa, 0, 0x38, 0x9b, 0x71];

/** The extension of WAVE_FORMAT_EXTENSIBLE, EBU Tech 3306 Annex A.2. */
export function extension(subTag: number, validBits: number, mask = 0, tail = GUID_TAIL): number[] {
  return [...u16(22), ...u16(validBits), ...u32(mask), ...u16(subTag), ...tail];
}

export function riff(chunks: number[][], { id = 'RIFF', size }: { id?: string; size?: number } = {}): Uint8Array {
  const body = chunks.flat();
  return Uint8Array.from([...ascii(id), ...u32(size ?? body.length + 4), ...ascii('WAVE'), ...body]);
}

/** ds64 payload: riff size, data size, sample count, table (EBU Tech 3306 Annex A.2). */
export function ds64(riffBytes: bigint, dataBytes: bigint, frames: bigint, table: Array<[string, bigint]> = []): number[] {
  return chunk('ds64', [...u64(riffBytes), ...u64(dataBytes), ...u64(frames), ...u32(table.length), ...table.flatMap(([id, size]) => [...ascii(id), ...u64(size)])]);
}

const WAVE64_TAIL = [0xf3, 0xac, 0xd3, 0x11, 0x8c, 0xd1, 0x00, 0xc0, 0x4f, 0x8e, 0xdb, 0x8a];

export function wave64Chunk(id: string, payload: number[], size = BigInt(payload.length + 24)): number[] {
  return [...ascii(id), ...WAVE64_TAIL, ...u64(size), ...payload, ...new Array((8 - (payload.length % 8)) % 8).fill(0)];
}

export function wave64(chunks: number[][], size?: bigint): Uint8Array {
  const body = chunks.flat();
  return Uint8Array.from([0x72, 0x69, 0x66, 0x66, 0x2e, 0x91, 0xcf, 0x11, 0xa5, 0xd6, 0x28, 0xdb, 0x04, 0xc1, 0, 0, ...u64(size ?? BigInt(body.length + 40)), ...ascii('wave'), ...WAVE64_TAIL, ...body]);
}

export function openBytes(bytes: Uint8Array, name = 'test.wav'): Promise<AudioReader> {
  return openAudio(createBytesSource(bytes, name));
}

/** All samples of a file as plain arrays, one per channel. */
export async function readAll(bytes: Uint8Array, name?: string): Promise<{ info: AudioInfo; channels: number[][]; reader: AudioReader }> {
  const reader = await openBytes(bytes, name);
  const into = Array.from({ length: reader.info.channelCount }, () => new Float32Array(reader.info.frameCount));
  const got = await reader.readFrames(0, reader.info.frameCount, into);
  if (got !== reader.info.frameCount) throw new Error(`read ${got} of ${reader.info.frameCount} frames`);
  return { info: reader.info, channels: into.map((c) => Array.from(c)), reader };
}

/** A source that counts what is asked of it. */
export function countReads(source: ByteSource): ByteSource & { readCount: number; readBytes: number; largestRead: number; isClosed: boolean } {
  const counter = {
    name: source.name, sizeBytes: source.sizeBytes, readCount: 0, readBytes: 0, largestRead: 0, isClosed: false,
    async read(offset: number, length: number): Promise<Uint8Array> {
      counter.readCount++;
      counter.readBytes += length;
      counter.largestRead = Math.max(counter.largestRead, length);
      return source.read(offset, length);
    },
    async close(): Promise<void> {
      counter.isClosed = true;
      await source.close();
    },
  };
  return counter;
}

/** Deterministic noise: Park and Miller's generator (Comm. ACM 31(10) 1988, p. 1192), u in (0, 1). */
export function createNoise(seed = 1234567890): () => number {
  let state = seed;
  return () => {
    state = (16807 * state) % 2147483647;
    return state / 2147483647;
  };
}
