import { quoteName, VolaryError } from '../schema/errors.js';
import { BEXT_TIME_BYTES, parseBroadcastTime } from './broadcast-time.js';
import { readExactly, readExactlyInto } from './byte-window.js';
import type { ByteWindow } from './byte-window.js';
import { IntervalSet } from './interval-set.js';
import { decodeSamples, sampleCodingOf } from './pcm-decode.js';
import { walkRiff } from './riff-walk.js';
import type { AudioInfo, AudioReader, ByteSource, PcmLayout } from './types.js';
import { parseWavFormat } from './wav-format.js';
import { chooseDataChunk, chooseFormatChunk, settleDataSpan } from './wav-layout.js';
import { walkWave64 } from './wave64-walk.js';

/** Bytes decoded at a time, so that memory does not grow with the length asked for. */
const SLICE_BYTES = 1 << 20;
const NON_FINITE_LINE = 'samples are not finite numbers; replaced by 0';

/** Opens a RIFF/WAVE, RF64, BW64 or Wave64 file; only headers are read. */
export async function openWav(source: ByteSource, window: ByteWindow, container: Exclude<AudioInfo['container'], 'FLAC'>): Promise<AudioReader> {
  const warnings: string[] = [];
  const walk = container === 'Wave64' ? await walkWave64(window) : await walkRiff(window, warnings);
  const formatChunk = chooseFormatChunk(walk, source.name, warnings);
  const format = parseWavFormat(await window.view(formatChunk.startByte, Math.min(formatChunk.presentBytes, 64)), source.name, warnings);
  const data = chooseDataChunk(walk, source.name, warnings);
  if (formatChunk.startByte > data.startByte) warnings.push(`format chunk at byte ${formatChunk.startByte} comes after the data chunk at byte ${data.startByte}; used it all the same`);
  const span = settleDataSpan(walk, data, format, window, warnings);
  if (span.frameCount === 0) warnings.push('the file holds no sound: 0 frames');
  const info: AudioInfo = {
    container, sampleRateHz: format.sampleRateHz, channelCount: format.channelCount, frameCount: span.frameCount,
    sampleFormat: format.sampleFormat, bitsPerSample: format.containerBytes * 8, validBits: format.validBits, warnings,
  };
  const bext = walk.chunks.find((c) => c.id === 'bext');
  if (bext) {
    const time = parseBroadcastTime(await window.view(bext.startByte, Math.min(bext.presentBytes, BEXT_TIME_BYTES)), format.sampleRateHz, warnings);
    if (time) info.broadcastTime = time;
  }
  return new WavReader(source, info, span.startByte, format.blockBytes);
}

class WavReader implements AudioReader {
  readonly name: string;
  readonly lostFrames = 0;
  readonly pcmLayout?: PcmLayout;
  replacedCounts: number[] = [];
  private badSamples = 0;
  private readonly seen = new IntervalSet();

  constructor(private readonly source: ByteSource, readonly info: AudioInfo, private readonly dataStart: number, private readonly blockBytes: number) {
    this.name = source.name;
    const { sampleFormat, bitsPerSample } = info;
    const coding = sampleCodingOf(sampleFormat, bitsPerSample / 8);
    // Floats are looked through for what is no number while they are decoded.
    if (coding !== 'f32' && coding !== 'f64') this.pcmLayout = { coding, sampleBytes: bitsPerSample / 8, blockBytes };
  }

  async readBytes(startFrame: number, into: Uint8Array): Promise<void> {
    await readExactlyInto(this.source, this.dataStart + startFrame * this.blockBytes, into);
  }

  get nonFiniteCount(): number { return this.badSamples; }

  async readFrames(startFrame: number, frameCount: number, into: (Float32Array | null)[], intoOffset = 0): Promise<number> {
    checkReadRequest(this, startFrame, frameCount, into, intoOffset);
    const end = Math.min(this.info.frameCount, startFrame + frameCount);
    this.replacedCounts = into.map(() => 0);
    const sliceFrames = Math.max(1, Math.floor(SLICE_BYTES / this.blockBytes));
    for (let frame = startFrame; frame < end; frame += sliceFrames) {
      const count = Math.min(sliceFrames, end - frame);
      await this.readSlice(frame, count, into, intoOffset + frame - startFrame);
    }
    return Math.max(0, end - startFrame);
  }

  private async readSlice(frame: number, count: number, into: (Float32Array | null)[], offset: number): Promise<void> {
    const { sampleFormat, bitsPerSample } = this.info;
    const bytes = await readExactly(this.source, this.dataStart + frame * this.blockBytes, count * this.blockBytes);
    const coding = sampleCodingOf(sampleFormat, bitsPerSample / 8);
    const bad = decodeSamples(bytes, coding, count, into, offset, this.replacedCounts);
    if (sampleFormat !== 'float') return;
    const fresh = this.seen.add(frame, frame + count);
    if (bad === 0) return;
    // A stretch that was read before has been counted before.
    for (const [start, end] of fresh) {
      const part = bytes.subarray((start - frame) * this.blockBytes, (end - frame) * this.blockBytes);
      const scratch = into.map(() => new Float32Array(end - start));
      this.badSamples += decodeSamples(part, coding, end - start, scratch, 0);
    }
    this.reportNonFinite();
  }

  private reportNonFinite(): void {
    const kept = this.info.warnings.filter((line) => !line.endsWith(NON_FINITE_LINE));
    kept.push(`${this.badSamples} ${NON_FINITE_LINE}`);
    this.info.warnings.splice(0, this.info.warnings.length, ...kept);
  }

  async close(): Promise<void> {
    await this.source.close();
  }
}

/** @throws VolaryError 'internal' for a request that cannot be meant: negative or fractional frames, too few or too short arrays. */
export function checkReadRequest(reader: AudioReader, startFrame: number, frameCount: number, into: (Float32Array | null)[], intoOffset: number): void {
  const isWhole = Number.isSafeInteger(startFrame) && startFrame >= 0 && Number.isSafeInteger(frameCount) && frameCount >= 0;
  const delivered = Math.max(0, Math.min(frameCount, reader.info.frameCount - startFrame));
  const fits = into.length === reader.info.channelCount && Number.isSafeInteger(intoOffset) && intoOffset >= 0 && into.every((a) => (a ? a.length >= intoOffset + delivered : reader.pcmLayout !== undefined));
  if (isWhole && fits) return;
  throw new VolaryError('internal', {
    what: 'wrong request for samples', where: quoteName(reader.name),
    got: `frames ${startFrame} + ${frameCount} into ${into.length} arrays at ${intoOffset}`,
    expected: `whole frames and ${reader.info.channelCount} arrays that hold ${delivered} samples from there on`,
  });
}
