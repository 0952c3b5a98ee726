import { quoteName, VolaryError } from '../schema/errors.js';
import type { ByteWindow } from './byte-window.js';
import { decodeFrames } from './flac-decode.js';
import type { FrameBytes } from './flac-decode.js';
import type { FrameHeader, StreamInfo } from './flac-frame.js';
import { FlacScanner } from './flac-scan.js';
import type { FoundFrame } from './flac-scan.js';
import { readFlacMetadata } from './flac-metadata.js';
import { FlacSeeker } from './flac-seek.js';
import { IntervalSet } from './interval-set.js';
import type { AudioInfo, AudioReader, ByteSource } from './types.js';
import { checkReadRequest } from './wav-reader.js';

/** Frames handed to the decoder at a time: samples over all channels, and bytes. */
const BATCH_SAMPLES = 1 << 19;
const BATCH_BYTES = 1 << 20;
const DAMAGE_LINE = 'damaged or missing; written as silence';

/** Opens a FLAC stream; reads the metadata, the first frame and the end of the file. */
export async function openFlac(source: ByteSource, window: ByteWindow, flacStart: number): Promise<AudioReader> {
  const warnings: string[] = [];
  const { stream, broadcastTime, audioStart } = await readFlacMetadata(window, flacStart, warnings);
  const scanner = new FlacScanner(source, stream, audioStart);
  const contradiction = await scanner.contradictionAt(audioStart);
  if (contradiction) throw refuseContradiction(contradiction, stream, source.name);
  const seeker = new FlacSeeker(scanner);
  const first = await scanner.nextFrame(audioStart);
  if (first && !first.header.hasVariableBlocks && first.header.codedNumber === 0 && stream.minBlockFrames !== stream.maxBlockFrames) scanner.fixedBlockFrames = first.header.blockFrames;
  if (first) seeker.remember(first);
  const last = await seeker.findLast();
  const span = settleFrames(first, last, stream.totalFrames, source.sizeBytes, audioStart, warnings);
  const info: AudioInfo = {
    container: 'FLAC', sampleRateHz: stream.sampleRateHz, channelCount: stream.channelCount, frameCount: span.frameCount,
    sampleFormat: 'pcm', bitsPerSample: Math.ceil(stream.bitsPerSample / 8) * 8, validBits: stream.bitsPerSample, warnings,
  };
  if (broadcastTime) info.broadcastTime = broadcastTime;
  if (info.frameCount === 0) warnings.push('the file holds no sound: 0 frames');
  return new FlacReader(source, info, scanner, seeker, span.baseFrame);
}

function refuseContradiction(header: FrameHeader, stream: StreamInfo, fileName: string): VolaryError {
  const describe = (rateHz: number, channelCount: number, bits: number) => `${rateHz || stream.sampleRateHz} Hz, ${channelCount} channels, ${bits || stream.bitsPerSample} bits`;
  return new VolaryError('bad-audio', {
    what: 'FLAC stream info contradicts the first frame', where: quoteName(fileName),
    got: `a frame of ${describe(header.sampleRateHz, header.channelCount, header.bitsPerSample)}`,
    expected: describe(stream.sampleRateHz, stream.channelCount, stream.bitsPerSample),
  });
}

function settleFrames(first: FoundFrame | undefined, last: FoundFrame | undefined, declared: number, sizeBytes: number, audioStart: number, warnings: string[]): { baseFrame: number; frameCount: number } {
  if (!first || !last) {
    if (declared > 0) warnings.push(`stream info declares ${declared} frames but none can be found in the ${sizeBytes - audioStart} bytes after it`);
    return { baseFrame: 0, frameCount: 0 };
  }
  const end = last.startFrame + last.header.blockFrames;
  // A stream that was cut out of a longer one keeps the numbers it had there.
  const isCutOut = first.startFrame > 0 && first.offset === audioStart && (declared > 0 ? end > declared : first.startFrame > end - first.startFrame);
  const baseFrame = isCutOut ? first.startFrame : 0;
  const present = end - baseFrame;
  if (isCutOut) warnings.push(`first frame of the stream is numbered ${first.startFrame}; counted from there`);
  if (declared === 0) warnings.push(`stream info declares no length; the numbers of the last frame give ${present} frames`);
  else if (declared > present) warnings.push(`stream info declares ${declared} frames but the file holds ${present}; the file is cut short`);
  else if (declared < present) warnings.push(`stream info declares ${declared} frames but the file holds ${present}; only the declared ones are counted`);
  if (last.endOffset < sizeBytes) warnings.push(`${sizeBytes - last.endOffset} bytes from byte ${last.endOffset} on are no whole frame; not counted as samples`);
  return { baseFrame, frameCount: declared === 0 ? present : Math.min(declared, present) };
}

interface DecodedFrame {
  startFrame: number;
  channels: Float32Array[];
}

/** What is known of [from, to): the frames decoded there; everything between them is lost. */
interface Stretch {
  from: number;
  to: number;
  frames: DecodedFrame[];
}

class FlacReader implements AudioReader {
  readonly name: string;
  readonly nonFiniteCount = 0;
  private readonly lost = new IntervalSet();
  /** The last batch, as the next read often begins within it. */
  private recent: Stretch = { from: 0, to: 0, frames: [] };
  /** Reads share the window and the recent frames, so they wait for each other. */
  private lastRead: Promise<unknown> = Promise.resolve();
  private nextOffset = -1;
  private nextFrame = -1;

  constructor(private readonly source: ByteSource, readonly info: AudioInfo, private readonly scanner: FlacScanner, private readonly seeker: FlacSeeker,
    private readonly baseFrame: number) {
    this.name = source.name;
  }

  get lostFrames(): number { return this.lost.totalLength; }

  listLost(startFrame: number, frameCount: number): [number, number][] {
    return this.lost.within(startFrame + this.baseFrame, startFrame + this.baseFrame + frameCount).map(([a, b]) => [a - this.baseFrame, b - this.baseFrame]);
  }

  async readFrames(startFrame: number, frameCount: number, into: Float32Array[], intoOffset = 0): Promise<number> {
    checkReadRequest(this, startFrame, frameCount, into, intoOffset);
    const task = this.lastRead.then(() => this.readInTurn(startFrame, frameCount, into, intoOffset));
    this.lastRead = task.catch(() => {});
    return task;
  }

  private async readInTurn(startFrame: number, frameCount: number, into: Float32Array[], intoOffset: number): Promise<number> {
    const count = Math.max(0, Math.min(frameCount, this.info.frameCount - startFrame));
    const start = startFrame + this.baseFrame;
    const end = start + count;
    for (let cursor = start; cursor < end;) {
      if (cursor < this.recent.from || cursor >= this.recent.to) this.recent = await this.decodeStretch(cursor, end);
      cursor = this.copyRecent(cursor, end, into, intoOffset - start);
    }
    return count;
  }

  /** Copies what `recent` holds of [cursor, end), sample s to into[c][s + shift], and returns where it ends. */
  private copyRecent(cursor: number, end: number, into: Float32Array[], shift: number): number {
    for (const { startFrame, channels } of this.recent.frames) {
      const stop = Math.min(end, startFrame + channels[0].length);
      if (stop <= cursor) continue;
      if (startFrame > cursor) cursor = this.fillGap(cursor, Math.min(end, startFrame), into, shift);
      for (let c = 0; c < into.length && stop > cursor; c++) into[c].set(channels[c].subarray(cursor - startFrame, stop - startFrame), cursor + shift);
      cursor = Math.max(cursor, stop);
    }
    return this.fillGap(cursor, Math.min(end, this.recent.to), into, shift);
  }

  private fillGap(from: number, to: number, into: Float32Array[], shift: number): number {
    if (to <= from) return from;
    for (const channel of into) channel.fill(0, from + shift, to + shift);
    this.lost.add(from, to);
    const kept = this.info.warnings.filter((line) => !line.endsWith(DAMAGE_LINE));
    const first = this.lost.firstStart! - this.baseFrame;
    const stretches = this.lost.intervalCount === 1 ? '1 stretch' : `${this.lost.intervalCount} stretches`;
    kept.push(`${this.lost.totalLength} of ${this.info.frameCount} frames in ${stretches}, the first at frame ${first}, are ${DAMAGE_LINE}`);
    this.info.warnings.splice(0, this.info.warnings.length, ...kept);
    return to;
  }

  /** Decodes frames from the one that holds `cursor` on, until `end` or until the batch is full. */
  private async decodeStretch(cursor: number, end: number): Promise<Stretch> {
    const found: FoundFrame[] = [];
    const batch: FrameBytes[] = [];
    const highest = this.baseFrame + this.info.frameCount + this.scanner.fixedBlockFrames;
    let offset = this.nextFrame === cursor ? this.nextOffset : await this.seeker.seek(cursor);
    let samples = 0;
    let bytes = 0;
    let to = cursor;
    while (to < end && samples < BATCH_SAMPLES && bytes < BATCH_BYTES) {
      const frame = await this.scanner.nextFrame(offset);
      if (!frame) { to = end; break; }
      offset = frame.endOffset;
      const frameEnd = frame.startFrame + frame.header.blockFrames;
      // Numbers that run back or beyond the end belong to no frame of this stream.
      if (frameEnd <= to || frameEnd > highest) continue;
      found.push(frame);
      batch.push({ bytes: (await this.scanner.bytesOf(frame)).slice(), header: frame.header });
      this.seeker.remember(frame);
      to = frameEnd;
      samples += frame.header.blockFrames * this.info.channelCount;
      bytes += frame.endOffset - frame.offset;
    }
    this.nextOffset = offset;
    this.nextFrame = to;
    const decoded = await decodeFrames(batch, this.info.validBits);
    const frames = found.flatMap((frame, i) => (decoded[i] ? [{ startFrame: frame.startFrame, channels: decoded[i] }] : []));
    return { from: Math.min(cursor, found[0]?.startFrame ?? cursor), to, frames };
  }

  async close(): Promise<void> {
    await this.source.close();
  }
}
