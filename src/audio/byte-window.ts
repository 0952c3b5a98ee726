import { quoteName, VolaryError } from '../schema/errors.js';
import type { ByteSource } from './types.js';

/**
 * Small reads over a ByteSource through one window of bytes, so that walking headers costs few reads of the file.
 * Memory: one window, grown only to the length that a caller asks for and the source can deliver.
 */
export class ByteWindow {
  readonly name: string;
  readonly sizeBytes: number;
  private startByte = 0;
  private bytes: Uint8Array = new Uint8Array(0);

  constructor(private readonly source: ByteSource, private readonly windowBytes = 65536) {
    this.name = source.name;
    this.sizeBytes = source.sizeBytes;
  }

  /** Bytes [offset, offset + length), shorter only at the end of the source. The view is valid until the next call. */
  async view(offset: number, length: number): Promise<Uint8Array> {
    const end = Math.min(this.sizeBytes, offset + length);
    if (end <= offset) return this.bytes.subarray(0, 0);
    if (offset < this.startByte || end > this.startByte + this.bytes.length) {
      await this.moveTo(offset, Math.min(this.sizeBytes - offset, Math.max(this.windowBytes, end - offset)));
    }
    return this.bytes.subarray(offset - this.startByte, end - this.startByte);
  }

  /** Reads only what the old window does not hold, so that walking forward reads every byte once. */
  private async moveTo(offset: number, length: number): Promise<void> {
    const oldEnd = this.startByte + this.bytes.length;
    const kept = offset >= this.startByte && offset < oldEnd ? this.bytes.subarray(offset - this.startByte) : this.bytes.subarray(0, 0);
    const fresh = await readExactly(this.source, offset + kept.length, length - kept.length);
    if (kept.length === 0) this.bytes = fresh;
    else {
      this.bytes = new Uint8Array(length);
      this.bytes.set(kept, 0);
      this.bytes.set(fresh, kept.length);
    }
    this.startByte = offset;
  }
}

/**
 * Reads exactly the bytes asked for, which the caller knows to lie within the source.
 * @throws VolaryError 'unreadable' when the source delivers fewer: the file has become shorter since it was opened.
 */
export async function readExactly(source: ByteSource, offset: number, length: number): Promise<Uint8Array> {
  const bytes = await source.read(offset, length);
  if (bytes.length >= length) return bytes;
  throw becameShorter(source, offset + bytes.length);
}

/** `readExactly` into memory that is there already. */
export async function readExactlyInto(source: ByteSource, offset: number, into: Uint8Array): Promise<void> {
  if (!source.readInto) {
    into.set(await readExactly(source, offset, into.length));
    return;
  }
  const got = await source.readInto(offset, into);
  if (got < into.length) throw becameShorter(source, offset + got);
}

function becameShorter(source: ByteSource, gotBytes: number): VolaryError {
  return new VolaryError('unreadable', {
    what: 'file became shorter while it was being read', where: quoteName(source.name),
    got: `${gotBytes} bytes`, expected: `${source.sizeBytes} bytes`, mend: 'read it again when nothing writes to it any more',
  });
}

export function readAscii(bytes: Uint8Array, offset: number, length: number): string {
  let text = '';
  const end = Math.min(bytes.length, offset + length);
  for (let i = offset; i < end; i++) text += String.fromCharCode(bytes[i]);
  return text;
}

export function viewOf(bytes: Uint8Array): DataView {
  return new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
}
