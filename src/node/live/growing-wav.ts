import type { FileHandle } from 'node:fs/promises';
import { ByteWindow, viewOf } from '../../audio/byte-window.js';
import { createBytesSource } from '../../audio/bytes-source.js';
import { walkRiff } from '../../audio/riff-walk.js';
import { isChunkId, parseWavFormat } from '../../audio/wav-format.js';
import type { LiveCoding } from '../../live/frame-ring.js';
import { quoteName, VolaryError } from '../../schema/errors.js';

/** What the head of a WAVE file says while its sizes are not yet true. */
export interface GrowingWav {
  sampleRateHz: number;
  channelCount: number;
  coding: LiveCoding;
  /** First byte of the samples. */
  dataByte: number;
}

const HEAD_BYTES = 1 << 20;
const ALL_ONES_32 = 0xffffffff;

/** Whether bytes begin as a RIFF, RF64 or BW64 file does. */
export function looksLikeWav(head: Uint8Array): boolean {
  return head.length >= 4 && ['RIFF', 'RF64', 'BW64'].includes(String.fromCharCode(...head.subarray(0, 4)));
}

/**
 * Reads the head of a WAVE file that is being written; undefined where it is not yet there in full.
 * @throws VolaryError 'bad-audio' or 'unsupported-audio'
 */
export async function readGrowingWav(handle: FileHandle, path: string): Promise<GrowingWav | undefined> {
  const head = new Uint8Array(HEAD_BYTES);
  const { bytesRead } = await handle.read(head, 0, HEAD_BYTES, 0);
  if (bytesRead < 44) return undefined;
  const walk = await walkRiff(new ByteWindow(createBytesSource(head.subarray(0, bytesRead), path)), []);
  const formatChunk = walk.chunks.find((c) => c.id === 'fmt ');
  const data = walk.chunks.find((c) => c.id === 'data');
  if (!formatChunk || !data) return undefined;
  const format = parseWavFormat(head.subarray(formatChunk.startByte, formatChunk.startByte + Math.min(formatChunk.presentBytes, 64)), path, []);
  const name = `${format.sampleFormat}${8 * format.containerBytes}`;
  const coding = ({ pcm16: 's16', pcm24: 's24', pcm32: 's32', float32: 'f32' } as Record<string, LiveCoding>)[name];
  if (!coding) throw new VolaryError('unsupported-audio', { where: quoteName(path), what: 'samples of this kind cannot be watched', got: name, expected: 'pcm16, pcm24, pcm32 or float32' });
  return { sampleRateHz: format.sampleRateHz, channelCount: format.channelCount, coding, dataByte: data.startByte };
}

/**
 * Where the samples end in a file of `sizeBytes`: at its end, unless the recorder has finished it, that is filled in the length and written a chunk
 * behind that ends where the file ends. Some writers leave the pad byte after a chunk of odd size out.
 */
export async function findSamplesEnd(handle: FileHandle, dataByte: number, sizeBytes: number): Promise<number> {
  const size = new Uint8Array(4);
  await handle.read(size, 0, 4, dataByte - 4);
  const declared = viewOf(size).getUint32(0, true);
  const end = dataByte + declared;
  if (declared === 0 || declared === ALL_ONES_32) return sizeBytes;
  return (await endsWithChunks(handle, end, declared, sizeBytes)) ? end : sizeBytes;
}

/** Whether one chunk or more follow, behind a payload of `length` bytes that ends at byte `at`, and the last ends where the file ends; with pad bytes or without. */
async function endsWithChunks(handle: FileHandle, at: number, length: number, sizeBytes: number): Promise<boolean> {
  for (const start of length % 2 === 1 ? [at + 1, at] : [at]) {
    const header = new Uint8Array(8);
    const { bytesRead } = await handle.read(header, 0, 8, start);
    if (bytesRead < 8 || !isChunkId(header, 0)) continue;
    const nextLength = viewOf(header).getUint32(4, true), next = start + 8 + nextLength;
    if (next === sizeBytes || next + (nextLength % 2) === sizeBytes) return true;
    if (next < sizeBytes && (await endsWithChunks(handle, next, nextLength, sizeBytes))) return true;
  }
  return false;
}
