/** What arrived from a pipe, kept on the disk until the saved state no longer needs it: a run that was killed can hear it once more. */
import { closeSync, openSync, writeSync } from 'node:fs';
import { open, readdir, rm, stat, type FileHandle } from 'node:fs/promises';
import { join } from 'node:path';
import { quoteName, VolaryError } from '../../schema/errors.js';
import { makeFolder } from '../write-files.js';
import type { LiveFeed } from './feeds.js';

/** A piece is named after its first byte, counted from the start of the recorder's clock: its name and its length say all, whenever a run is killed. */
const PIECE = /^watch-sound-(\d+)\.raw$/;
const nameOf = (firstByte: number): string => `watch-sound-${firstByte}.raw`;

interface Piece { firstByte: number; endByte: number }

export class SoundJournal {
  private fd = -1;

  private constructor(private readonly folder: string, private pieces: Piece[]) {}

  /** Finds what an earlier run kept. Pieces that do not join the last ones are of no use. */
  static async open(folder: string): Promise<SoundJournal> {
    await makeFolder(folder);
    const found: Piece[] = [];
    for (const name of await readdir(folder)) {
      const firstByte = Number(PIECE.exec(name)?.[1] ?? NaN);
      if (Number.isSafeInteger(firstByte)) found.push({ firstByte, endByte: firstByte + (await stat(join(folder, name))).size });
    }
    found.sort((a, b) => a.firstByte - b.firstByte);
    const from = found.findLastIndex((p, k) => k > 0 && p.firstByte !== found[k - 1].endByte);
    return new SoundJournal(folder, from > 0 ? found.slice(from) : found);
  }

  /** First byte kept; NaN where nothing is. */
  get firstByte(): number { return this.pieces.length > 0 ? this.pieces[0].firstByte : NaN; }

  get endByte(): number { return this.pieces.length > 0 ? this.pieces[this.pieces.length - 1].endByte : NaN; }

  get keptBytes(): number { return this.pieces.length > 0 ? this.endByte - this.firstByte : 0; }

  /** Begins to keep a stream whose first byte is `firstByte`; what was kept before is gone. */
  async start(firstByte: number): Promise<void> {
    await this.clear();
    this.begin(firstByte);
  }

  /** Appends what arrived. Throws `unreadable` where the disk does not take it. */
  append(bytes: Uint8Array): void {
    const piece = this.pieces[this.pieces.length - 1];
    try {
      for (let at = 0; at < bytes.length;) at += writeSync(this.fd, bytes, at);
    } catch (error) {
      throw new VolaryError('unreadable', { where: quoteName(join(this.folder, nameOf(piece.firstByte))), what: 'sound cannot be kept', got: (error as NodeJS.ErrnoException).code ?? String(error), mend: 'make room on the disk, or leave --out away' });
    }
    piece.endByte += bytes.length;
  }

  /** Gives pieces up that end before `neededByte`, and begins a new one. */
  async trim(neededByte: number): Promise<void> {
    if (this.fd < 0) return;
    if (this.pieces[this.pieces.length - 1].endByte > this.pieces[this.pieces.length - 1].firstByte) this.begin(this.endByte);
    while (this.pieces.length > 1 && this.pieces[0].endByte <= neededByte) await rm(join(this.folder, nameOf(this.pieces.shift()!.firstByte)), { force: true });
  }

  /** All that is kept from a byte on. */
  async openFeed(fromByte: number): Promise<LiveFeed> {
    return new KeptFeed(this.folder, this.pieces.map((p) => ({ ...p })), fromByte);
  }

  /** Nothing of it is needed any more. */
  async clear(): Promise<void> {
    this.close();
    this.pieces = [];
    for (const name of await readdir(this.folder)) if (PIECE.test(name)) await rm(join(this.folder, name), { force: true });
  }

  close(): void {
    if (this.fd >= 0) closeSync(this.fd);
    this.fd = -1;
  }

  private begin(firstByte: number): void {
    this.close();
    this.fd = openSync(join(this.folder, nameOf(firstByte)), 'w');
    this.pieces.push({ firstByte, endByte: firstByte });
  }
}

class KeptFeed implements LiveFeed {
  readonly name = 'kept sound';
  readonly isHeldBack = false;
  private handle: FileHandle | undefined;

  constructor(private readonly folder: string, private readonly pieces: Piece[], private at: number) {}

  get isEnded(): boolean { return this.countWaiting() === 0; }

  async read(mostBytes: number): Promise<Uint8Array> {
    while (this.pieces.length > 0 && this.pieces[0].endByte <= this.at) await this.leavePiece();
    const [piece] = this.pieces;
    if (!piece || mostBytes <= 0) return new Uint8Array(0);
    this.handle ??= await open(join(this.folder, nameOf(piece.firstByte)), 'r');
    const bytes = new Uint8Array(Math.min(mostBytes, piece.endByte - this.at));
    const { bytesRead } = await this.handle.read(bytes, 0, bytes.length, this.at - piece.firstByte);
    this.at += bytesRead;
    return bytes.subarray(0, bytesRead);
  }

  countWaiting(): number { return Math.max(0, (this.pieces[this.pieces.length - 1]?.endByte ?? this.at) - this.at); }

  async close(): Promise<void> { await this.handle?.close(); }

  private async leavePiece(): Promise<void> {
    await this.handle?.close();
    this.handle = undefined;
    this.pieces.shift();
  }
}
