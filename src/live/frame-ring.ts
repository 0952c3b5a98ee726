import { decodeSamples } from '../audio/pcm-decode.js';
import type { AudioReader, PcmLayout } from '../audio/types.js';
import { VolaryError } from '../schema/errors.js';

/** How the samples of an input lie in its bytes: interleaved, little-endian. */
export type LiveCoding = 's16' | 's24' | 's32' | 'f32';

export const CODING_BYTES: Record<LiveCoding, number> = { s16: 2, s24: 3, s32: 4, f32: 4 };
/** What users call them. */
export const CODING_NAMES = { s16: 'pcm16', s24: 'pcm24', s32: 'pcm32', f32: 'float32' } as const satisfies Record<LiveCoding, string>;

/** More frames than any stream will ever have; far below 2^53. */
export const ENDLESS_FRAMES = 2 ** 46;

/**
 * The newest frames of one input as bytes, in memory that does not grow. Frames are counted from the start of the input's clock; nothing is
 * overwritten before it was released.
 */
export class FrameRing {
  readonly blockBytes: number;
  private readonly bytes: Uint8Array;
  /** Absolute bytes [first, end) are held. */
  private firstByte: number;
  private endByte: number;

  /**
   * @param firstFrame the frame that the first byte pushed belongs to
   * @param capacityFrames most frames held
   */
  constructor(readonly channelCount: number, readonly coding: LiveCoding, readonly capacityFrames: number, readonly originFrame = 0) {
    this.blockBytes = channelCount * CODING_BYTES[coding];
    this.bytes = new Uint8Array(capacityFrames * this.blockBytes);
    this.firstByte = this.endByte = originFrame * this.blockBytes;
  }

  /** First frame that is still held. */
  get firstFrame(): number { return Math.ceil(this.firstByte / this.blockBytes); }

  /** End of the whole frames that are held. */
  get endFrame(): number { return Math.floor(this.endByte / this.blockBytes); }

  /** Bytes behind the last whole frame. */
  get partBytes(): number { return this.endByte % this.blockBytes; }

  get roomBytes(): number { return this.bytes.length - (this.endByte - this.firstByte); }

  /** Appends as many bytes as there is room for and returns how many; the rest is the caller's to keep. */
  push(data: Uint8Array): number {
    const count = Math.min(data.length, this.roomBytes);
    const at = this.endByte % this.bytes.length;
    const before = Math.min(count, this.bytes.length - at);
    this.bytes.set(data.subarray(0, before), at);
    this.bytes.set(data.subarray(before, count), 0);
    this.endByte += count;
    return count;
  }

  /** Gives the room of all frames before `frame` back. */
  release(frame: number): void {
    this.firstByte = Math.min(this.endByte, Math.max(this.firstByte, frame * this.blockBytes));
  }

  /**
   * Copies the bytes of whole frames from `startFrame` on into `into`. What was never in the input (before its origin, or not yet arrived) reads 0.
   * @throws VolaryError 'internal' for frames that were released
   */
  read(startFrame: number, into: Uint8Array): void {
    const from = startFrame * this.blockBytes, to = from + into.length;
    const origin = this.originFrame * this.blockBytes;
    if (Math.max(from, origin) < Math.min(this.firstByte, to)) {
      throw new VolaryError('internal', { what: 'frames were asked for that are gone', got: `frame ${startFrame}`, expected: `from frame ${this.firstFrame} on` });
    }
    const start = Math.max(from, this.firstByte), end = Math.min(to, this.endByte);
    if (end <= start) { into.fill(0); return; }
    into.fill(0, 0, start - from);
    into.fill(0, end - from);
    const at = start % this.bytes.length;
    const before = Math.min(end - start, this.bytes.length - at);
    into.set(this.bytes.subarray(at, at + before), start - from);
    into.set(this.bytes.subarray(0, end - start - before), start - from + before);
  }
}

/** A ring as a file without end; its frames are those of the ring. Floats that are no numbers read 0. */
export function createRingReader(name: string, ring: FrameRing, sampleRateHz: number): AudioReader {
  const { channelCount, coding, blockBytes } = ring;
  const bits = 8 * CODING_BYTES[coding];
  let nonFiniteCount = 0;
  const isInteger = coding !== 'f32';
  const pcmLayout: PcmLayout | undefined = isInteger ? { coding, sampleBytes: bits / 8, blockBytes } : undefined;
  return {
    name,
    info: {
      container: 'RIFF', sampleRateHz, channelCount, frameCount: ENDLESS_FRAMES, sampleFormat: isInteger ? 'pcm' : 'float', bitsPerSample: bits, validBits: bits, warnings: [],
    },
    get nonFiniteCount() { return nonFiniteCount; },
    lostFrames: 0,
    ...(pcmLayout ? { pcmLayout } : {}),
    async readBytes(startFrame, into) { ring.read(startFrame, into); },
    async readFrames(startFrame, frameCount, into, intoOffset = 0) {
      const bytes = new Uint8Array(frameCount * blockBytes);
      ring.read(startFrame, bytes);
      nonFiniteCount += decodeSamples(bytes, coding, frameCount, into, intoOffset);
      return frameCount;
    },
    async close() { /* nothing is held */ },
  };
}
