/** Where the bytes of a live recording come from. */
import { open, type FileHandle } from 'node:fs/promises';
import type { Readable } from 'node:stream';
import { quoteName, VolaryError } from '../../schema/errors.js';
import { digestSound, requireSameSound, type SoundDigest } from './sound-digest.js';

export interface LiveFeed {
  readonly name: string;
  /** True once nothing more can come. */
  readonly isEnded: boolean;
  /** Takes at most so many bytes of what is there; empty where there is nothing yet. */
  read(mostBytes: number): Promise<Uint8Array>;
  /** Bytes known to wait behind what was taken. */
  countWaiting(): number;
  /** Whether the source is being held back because too much waits. */
  readonly isHeldBack: boolean;
  /** Where what arrived waits in memory: takes no more, so that the rest can be worked on. */
  stop?(): void;
  /** Of a file: what its sound is, so that a later run can tell whether it goes on with the same. */
  digestSound?(heardBytes: number, placeBytes: number): Promise<SoundDigest>;
  /** Throws VolaryError 'stale' where it is another recording than the one that was heard. */
  requireSameSound?(heard: SoundDigest): Promise<void>;
  close(): Promise<void>;
}

const NOTHING = new Uint8Array(0);

/** A pipe: what arrives waits in memory, up to a limit from which on the sender has to wait. */
export class PipeFeed implements LiveFeed {
  readonly name = 'standard input';
  private readonly chunks: Uint8Array[] = [];
  private waiting = 0;
  private hasEnded = false;
  private failure: Error | undefined;
  isHeldBack = false;

  /** @param keep told of all that arrives, before it is given to anybody */
  constructor(private readonly stream: Readable, private readonly mostWaitingBytes: number, keep?: (chunk: Uint8Array) => void) {
    stream.on('data', (chunk: Buffer) => {
      if (this.hasEnded) return;
      try {
        keep?.(chunk);
      } catch (error) {
        this.failure = error as Error;
        this.stop();
        return;
      }
      this.chunks.push(chunk);
      this.waiting += chunk.length;
      if (this.waiting >= mostWaitingBytes) { this.isHeldBack = true; stream.pause(); }
    });
    stream.on('end', () => { this.hasEnded = true; });
    stream.on('error', (error) => { this.failure = error; this.hasEnded = true; });
  }

  get isEnded(): boolean { return this.hasEnded && this.chunks.length === 0; }

  async read(mostBytes: number): Promise<Uint8Array> {
    if (this.failure instanceof VolaryError) throw this.failure;
    if (this.failure) throw new VolaryError('unreadable', { where: this.name, what: 'cannot be read', got: this.failure.message });
    const chunk = this.chunks[0];
    if (!chunk || mostBytes <= 0) return NOTHING;
    const taken = chunk.subarray(0, mostBytes);
    if (taken.length === chunk.length) this.chunks.shift();
    else this.chunks[0] = chunk.subarray(mostBytes);
    this.waiting -= taken.length;
    if (this.isHeldBack && this.waiting < this.mostWaitingBytes / 2) { this.isHeldBack = false; this.stream.resume(); }
    return taken;
  }

  countWaiting(): number { return this.waiting; }

  /** Takes no more; what arrived before can still be read. */
  stop(): void {
    this.hasEnded = true;
    this.stream.pause();
  }

  async close(): Promise<void> { this.stream.destroy(); }
}

/** A file that something else is writing. */
export class FileFeed implements LiveFeed {
  readonly isEnded = false;
  readonly isHeldBack = false;
  /** Where the samples end by now. */
  private endByte = 0;
  /** Longest that the file has been. */
  private seenBytes = 0;

  /** @param findEnd tells, from the file's size, where its samples end */
  private constructor(
    readonly name: string, private readonly handle: FileHandle, private readonly soundByte: number, private at: number,
    private readonly findEnd: (handle: FileHandle, sizeBytes: number) => Promise<number>,
  ) {}

  /**
   * @param soundByte where the sound begins in the file
   * @param placeBytes sound that is passed over
   * @throws VolaryError 'unreadable', 'stale' for a file that ends before the place
   */
  static async open(path: string, soundByte: number, placeBytes: number, findEnd: (handle: FileHandle, sizeBytes: number) => Promise<number> = async (_, size) => size): Promise<FileFeed> {
    const firstByte = soundByte + placeBytes;
    const feed = new FileFeed(path, await open(path, 'r'), soundByte, firstByte, findEnd);
    await feed.look();
    if (feed.endByte < firstByte) {
      await feed.close();
      throw new VolaryError('stale', { where: quoteName(path), what: 'is shorter than what was heard of it before', got: `${feed.endByte} bytes`, expected: `at least ${firstByte}`, mend: 'is it the same recording? start anew with --force' });
    }
    return feed;
  }

  async read(mostBytes: number): Promise<Uint8Array> {
    // Not only when all was read: a file that is cut short and grows again would pass for one that has only grown.
    await this.look();
    const count = Math.min(mostBytes, this.endByte - this.at);
    if (count <= 0) return NOTHING;
    const bytes = new Uint8Array(count);
    const { bytesRead } = await this.handle.read(bytes, 0, count, this.at);
    this.at += bytesRead;
    return bytes.subarray(0, bytesRead);
  }

  countWaiting(): number { return Math.max(0, this.endByte - this.at); }

  /** Looks how long the file is by now. */
  async look(): Promise<void> {
    const { size } = await this.handle.stat();
    if (size < this.seenBytes) {
      throw new VolaryError('unreadable', {
        where: quoteName(this.name), what: 'has become shorter while it was being read', got: `${size} bytes`, expected: `at least ${this.seenBytes}`, mend: 'start watch anew on a recording that only grows',
      });
    }
    this.seenBytes = size;
    this.endByte = await this.findEnd(this.handle, size);
  }

  digestSound(heardBytes: number, placeBytes: number): Promise<SoundDigest> { return digestSound(this.handle, this.soundByte, heardBytes, placeBytes); }

  requireSameSound(heard: SoundDigest): Promise<void> { return requireSameSound(this.handle, this.soundByte, this.name, heard); }

  close(): Promise<void> { return this.handle.close(); }
}
