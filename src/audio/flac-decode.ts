import { FLACDecoder } from '@wasm-audio-decoders/flac';
import { computeCrc16, computeCrc8 } from './flac-frame.js';
import type { FrameHeader } from './flac-frame.js';
import { parseFrame } from './flac-subframes.js';

export interface FrameBytes {
  /** One whole frame. */
  bytes: Uint8Array;
  header: FrameHeader;
}

/** Bit depths that the decoder library scales; at others it divides by 0. Value: code in the frame header. */
const DEPTH_CODES: Record<number, number> = { 8: 1, 16: 4, 24: 6, 32: 7 };

export interface FrameDecoder {
  /** @returns planar samples scaled by 2^-(bits-1), one entry per frame; undefined for a frame that cannot be decoded */
  decode(frames: FrameBytes[]): Promise<Array<Float32Array[] | undefined>>;
  free(): void;
}

export function createFrameDecoder(bitsPerSample: number): FrameDecoder {
  return bitsPerSample in DEPTH_CODES ? new LibraryFrameDecoder(bitsPerSample) : new PlainFrameDecoder(bitsPerSample);
}

class PlainFrameDecoder implements FrameDecoder {
  constructor(private readonly bitsPerSample: number) {}

  async decode(frames: FrameBytes[]): Promise<Array<Float32Array[] | undefined>> {
    const step = 2 ** (1 - this.bitsPerSample);
    return frames.map(({ bytes, header }) => parseFrame(bytes, header, this.bitsPerSample)?.channels.map((c) => Float32Array.from(c, (v) => v * step)));
  }

  free(): void {}
}

/**
 * Decodes single frames with libFLAC. Frames are handed over under the number 0: libFLAC would fill a jump between numbers with
 * silence, and a reader that jumps on purpose must not get that. What the header leaves to STREAMINFO is written into it, as
 * libFLAC sees frames only.
 */
class LibraryFrameDecoder implements FrameDecoder {
  private readonly library = new FLACDecoder();

  constructor(private readonly bitsPerSample: number) {}

  async decode(frames: FrameBytes[]): Promise<Array<Float32Array[] | undefined>> {
    await this.library.ready;
    const prepared = frames.map((f) => this.renumber(f.bytes, f.header));
    const expected = frames.reduce((sum, f) => sum + f.header.blockFrames, 0);
    const all = await this.decodeQuietly(prepared);
    if (all.errors.length === 0 && all.samplesDecoded === expected) return this.cut(all.channelData, frames.map((f) => f.header.blockFrames));
    return this.decodeOneByOne(prepared, frames);
  }

  /** An error leaves half a frame inside libFLAC, so it gets a fresh start after each. */
  private async decodeOneByOne(prepared: Uint8Array[], frames: FrameBytes[]): Promise<Array<Float32Array[] | undefined>> {
    const results: Array<Float32Array[] | undefined> = [];
    await this.library.reset();
    for (const [i, bytes] of prepared.entries()) {
      const one = await this.decodeQuietly([bytes]);
      const isWhole = one.errors.length === 0 && one.samplesDecoded === frames[i].header.blockFrames;
      results.push(isWhole ? this.cut(one.channelData, [one.samplesDecoded])[0] : undefined);
      if (!isWhole) await this.library.reset();
    }
    return results;
  }

  free(): void {
    void this.library.ready.then(() => this.library.free());
  }

  /** The library prints every error on the console; errors are returned as well and reported by the reader in one line. */
  private decodeQuietly(frames: Uint8Array[]): ReturnType<FLACDecoder['decodeFrames']> {
    const print = console.error;
    console.error = () => {};
    try {
      // The decoding itself runs before this call returns, so nobody else can be silenced.
      return this.library.decodeFrames(frames);
    } finally {
      console.error = print;
    }
  }

  private renumber(bytes: Uint8Array, header: FrameHeader): Uint8Array {
    const blockCode = bytes[2] >> 4;
    const blockBytes = blockCode === 6 ? 1 : blockCode === 7 ? 2 : 0;
    const rateCode = bytes[2] & 15;
    const blockAt = header.headerBytes - 1 - (rateCode === 12 ? 1 : rateCode >= 13 ? 2 : 0) - blockBytes;
    const newHeaderBytes = 6 + blockBytes;
    const out = new Uint8Array(newHeaderBytes + bytes.length - header.headerBytes);
    out[0] = 0xff;
    out[1] = 0xf8;
    out[2] = (blockCode << 4) | 9;
    out[3] = (header.channelCode << 4) | (DEPTH_CODES[this.bitsPerSample] << 1);
    out.set(bytes.subarray(blockAt, blockAt + blockBytes), 5);
    out[5 + blockBytes] = computeCrc8(out, 0, 5 + blockBytes);
    out.set(bytes.subarray(header.headerBytes), newHeaderBytes);
    const crc = computeCrc16(out, 0, out.length - 2);
    out[out.length - 2] = crc >> 8;
    out[out.length - 1] = crc & 255;
    return out;
  }

  /** The library divides by 2^(bits-1) - 1 in float32, which is undone without loss up to 24 bits; at 32 bits it divides by 2^31. */
  private cut(channelData: Float32Array[], lengths: number[]): Float32Array[][] {
    if (this.bitsPerSample <= 24) {
      const libraryScale = 2 ** (this.bitsPerSample - 1) - 1;
      const step = 2 ** (1 - this.bitsPerSample);
      for (const channel of channelData) for (let i = 0; i < channel.length; i++) channel[i] = Math.round(channel[i] * libraryScale) * step;
    }
    let start = 0;
    return lengths.map((length) => {
      const part = channelData.map((channel) => channel.subarray(start, start + length));
      start += length;
      return part;
    });
  }
}
