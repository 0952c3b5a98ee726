import { ByteWindow } from './byte-window.js';
import { boundFrameBytes, computeCrc16, parseFrameHeader } from './flac-frame.js';
import type { FrameHeader, StreamInfo } from './flac-frame.js';
import { parseFrame } from './flac-subframes.js';
import type { ByteSource } from './types.js';

/** A frame whose CRC-8 and CRC-16 are right. */
export interface FoundFrame {
  offset: number;
  endOffset: number;
  /** First sample of the frame as numbered in the stream. */
  startFrame: number;
  header: FrameHeader;
}

const WINDOW_BYTES = 1 << 17;
/** Failed candidates after which a search takes bigger steps, so that a crafted file costs bounded time. */
const MAX_FAILED_CANDIDATES = 256;

/** Finds whole frames by sync code, header CRC-8 and frame CRC-16 (RFC 9639 section 9); decodes nothing. */
export class FlacScanner {
  private readonly window: ByteWindow;
  /** Frames per block of a stream whose blocks do not vary; only the last block may be shorter. */
  fixedBlockFrames: number;

  constructor(source: ByteSource, private readonly stream: StreamInfo, readonly audioStart: number) {
    this.window = new ByteWindow(source, WINDOW_BYTES);
    this.fixedBlockFrames = stream.maxBlockFrames;
  }

  get endByte(): number { return this.window.sizeBytes; }

  /** The frame that begins exactly at `offset`. */
  async frameAt(offset: number): Promise<FoundFrame | undefined> {
    const header = this.matchHeader(await this.window.view(offset, 16), 0);
    if (!header) return undefined;
    const { channelCount, bitsPerSample } = this.stream;
    const bytes = await this.window.view(offset, boundFrameBytes(header.blockFrames, channelCount, bitsPerSample) + 16);
    const length = this.findFrameLength(bytes, header, offset + bytes.length >= this.endByte) ?? this.parseFrameLength(bytes, header);
    if (length === undefined) return undefined;
    const startFrame = header.hasVariableBlocks ? header.codedNumber : header.codedNumber * this.fixedBlockFrames;
    return { offset, endOffset: offset + length, startFrame, header };
  }

  /** Bytes of a found frame; valid until the next call. */
  async bytesOf(frame: FoundFrame): Promise<Uint8Array> {
    return this.window.view(frame.offset, frame.endOffset - frame.offset);
  }

  /** The first whole frame that begins in [offset, limit). */
  async nextFrame(offset: number, limit = this.endByte): Promise<FoundFrame | undefined> {
    const direct = offset < limit ? await this.frameAt(offset) : undefined;
    if (direct) return direct;
    let failed = 0;
    for (let position = offset; position < limit;) {
      const bytes = await this.window.view(position, Math.min(WINDOW_BYTES / 2, limit - position + 16));
      const candidate = this.findHeader(bytes);
      if (candidate === undefined) {
        if (position + bytes.length >= this.endByte) return undefined;
        position += Math.max(1, bytes.length - 15);
        continue;
      }
      if (position + candidate >= limit) return undefined;
      const frame = await this.frameAt(position + candidate);
      if (frame) return frame;
      failed++;
      position += candidate + (failed > MAX_FAILED_CANDIDATES ? 4096 : 1);
    }
    return undefined;
  }

  /** Offset of the first fitting frame header. */
  private findHeader(bytes: Uint8Array): number | undefined {
    for (let i = bytes.indexOf(0xff); i >= 0; i = bytes.indexOf(0xff, i + 1)) {
      if ((bytes[i + 1] & 0xfe) === 0xf8 && this.matchHeader(bytes, i)) return i;
    }
    return undefined;
  }

  /** A frame header at `offset` that contradicts STREAMINFO. */
  async contradictionAt(offset: number): Promise<FrameHeader | undefined> {
    const bytes = await this.window.view(offset, 16);
    return this.matchHeader(bytes, 0) ? undefined : parseFrameHeader(bytes, 0);
  }

  private matchHeader(bytes: Uint8Array, p: number): FrameHeader | undefined {
    const header = parseFrameHeader(bytes, p);
    if (!header || header.channelCount !== this.stream.channelCount) return undefined;
    if (header.bitsPerSample !== 0 && header.bitsPerSample !== this.stream.bitsPerSample) return undefined;
    if (header.sampleRateHz !== 0 && header.sampleRateHz !== this.stream.sampleRateHz) return undefined;
    return header;
  }

  /** A frame ends where its CRC-16 comes out as 0 and either another sync code or the end of the file follows. */
  private findFrameLength(bytes: Uint8Array, header: FrameHeader, reachesEnd: boolean): number | undefined {
    let crc = 0;
    let done = 0;
    for (let i = bytes.indexOf(0xff, header.headerBytes + 2); i >= 0 && i + 1 < bytes.length; i = bytes.indexOf(0xff, i + 1)) {
      if ((bytes[i + 1] & 0xfe) !== 0xf8) continue;
      crc = computeCrc16(bytes, done, i, crc);
      done = i;
      if (crc === 0 && parseFrameHeader(bytes, i)) return i;
    }
    if (!reachesEnd) return undefined;
    return computeCrc16(bytes, done, bytes.length, crc) === 0 ? bytes.length : undefined;
  }
  /** Where something else than a frame follows, only reading all the samples tells the end. */
  private parseFrameLength(bytes: Uint8Array, header: FrameHeader): number | undefined {
    const parsed = parseFrame(bytes, header, this.stream.bitsPerSample);
    return parsed && computeCrc16(bytes, 0, parsed.byteLength) === 0 ? parsed.byteLength : undefined;
  }
}
