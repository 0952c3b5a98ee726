import { quoteName, VolaryError } from '../schema/errors.js';
import { BEXT_TIME_BYTES, parseBroadcastTime } from './broadcast-time.js';
import { readAscii, viewOf } from './byte-window.js';
import type { ByteWindow } from './byte-window.js';
import type { StreamInfo } from './flac-frame.js';
import type { BroadcastTime } from './types.js';
import { warnAboutRate } from './wav-format.js';

export interface FlacMetadata {
  stream: StreamInfo;
  broadcastTime?: BroadcastTime;
  /** First byte after the last metadata block. */
  audioStart: number;
}

/** No real file has more metadata blocks; bounds the work on a crafted one (common practice, no source). */
const MAX_BLOCKS = 1024;
const BLOCK_STREAMINFO = 0;
const BLOCK_APPLICATION = 2;

/**
 * Reads the metadata blocks of a FLAC file (RFC 9639 section 8): STREAMINFO, and a broadcast chunk that was kept as foreign
 * metadata in an APPLICATION block 'riff'. All other blocks are skipped unread.
 */
export async function readFlacMetadata(window: ByteWindow, flacStart: number, warnings: string[]): Promise<FlacMetadata> {
  const where = quoteName(window.name);
  let position = flacStart + 4;
  let stream: StreamInfo | undefined;
  let broadcastTime: BroadcastTime | undefined;
  for (let count = 0; count < MAX_BLOCKS; count++) {
    const header = await window.view(position, 4);
    if (header.length < 4) throw new VolaryError('bad-audio', { what: 'FLAC metadata does not end within the file', where, got: `end of file at byte ${window.sizeBytes}`, expected: `a metadata block at byte ${position}` });
    const isLast = header[0] >= 128;
    const type = header[0] & 127;
    const length = (header[1] << 16) | (header[2] << 8) | header[3];
    const payload = position + 4;
    if (count === 0 && (type !== BLOCK_STREAMINFO || length < 34)) throw new VolaryError('bad-audio', { what: 'FLAC stream does not begin with its stream info', where, got: `block type ${type} of ${length} bytes`, expected: 'type 0 of 34 bytes' });
    if (count === 0) stream = parseStreamInfo(await window.view(payload, 34), where, warnings);
    else if (type === BLOCK_APPLICATION && stream && !broadcastTime) broadcastTime = await readForeignTime(window, payload, length, stream.sampleRateHz, warnings);
    position = payload + length;
    if (isLast) return { stream: stream!, broadcastTime, audioStart: position };
  }
  throw new VolaryError('bad-audio', { what: 'too many FLAC metadata blocks', where, got: `more than ${MAX_BLOCKS}`, expected: 'sound frames' });
}

function parseStreamInfo(bytes: Uint8Array, where: string, warnings: string[]): StreamInfo {
  if (bytes.length < 34) throw new VolaryError('bad-audio', { what: 'FLAC stream info is cut short', where, got: `${bytes.length} bytes`, expected: '34' });
  const view = viewOf(bytes);
  const packed = view.getBigUint64(10);
  const stream: StreamInfo = {
    minBlockFrames: view.getUint16(0), maxBlockFrames: view.getUint16(2), sampleRateHz: Number(packed >> 44n),
    channelCount: Number((packed >> 41n) & 7n) + 1, bitsPerSample: Number((packed >> 36n) & 31n) + 1, totalFrames: Number(packed & 0xfffffffffn),
  };
  if (stream.sampleRateHz === 0) throw new VolaryError('bad-audio', { what: 'FLAC stream info declares no sample rate', where, got: '0 Hz', expected: 'more than 0 Hz' });
  if (stream.bitsPerSample < 4) throw new VolaryError('bad-audio', { what: 'unusable bit depth for FLAC', where, got: `${stream.bitsPerSample} bits`, expected: '4 to 32 bits' });
  warnAboutRate(stream.sampleRateHz, warnings);
  return stream;
}

async function readForeignTime(window: ByteWindow, payload: number, length: number, sampleRateHz: number, warnings: string[]): Promise<BroadcastTime | undefined> {
  if (length < 12) return undefined;
  const bytes = await window.view(payload, Math.min(length, 12 + BEXT_TIME_BYTES));
  if (readAscii(bytes, 0, 8) !== 'riffbext') return undefined;
  return parseBroadcastTime(bytes.subarray(12), sampleRateHz, warnings);
}
