import { constants, fstatSync, readSync } from 'node:fs';
import type { BigIntStats } from 'node:fs';
import { open, stat } from 'node:fs/promises';
import type { FileHandle } from 'node:fs/promises';
import { quoteName, VolaryError } from '../schema/errors.js';
import type { ByteSource } from '../audio/types.js';

export interface FileSourceOptions {
  /** Waits for the disk in the calling thread: for a thread with nothing else to do short reads cost a fraction of what the way through other threads takes. */
  isBlocking?: boolean;
}

/**
 * Opens a regular file for random reads. Folders, pipes, devices and sockets are refused without opening them, so nothing can block.
 * Every read checks that size and time of change are still those of the opening: a file that changes is refused, never mixed.
 * @throws VolaryError 'missing' (no such file), 'unreadable' (no regular file, no permission, changed while being read)
 */
export async function openFileSource(path: string, { isBlocking = false }: FileSourceOptions = {}): Promise<ByteSource> {
  const where = quoteName(path);
  let handle: FileHandle | undefined;
  try {
    requireRegularFile(await stat(path, { bigint: true }), where);
    // A pipe could have taken the file's place since: never wait for its other end.
    handle = await open(path, constants.O_RDONLY | (constants.O_NONBLOCK ?? 0));
    const stats = fstatSync(handle.fd, { bigint: true });
    requireRegularFile(stats, where);
    return new FileSource(path, handle, stats, isBlocking);
  } catch (error) {
    await handle?.close();
    throw describeFailure(error, where);
  }
}

class FileSource implements ByteSource {
  readonly sizeBytes: number;
  private isClosed = false;

  constructor(readonly name: string, private readonly handle: FileHandle, private readonly opened: BigIntStats, private readonly isBlocking: boolean) {
    this.sizeBytes = Number(opened.size);
  }

  async read(offsetBytes: number, lengthBytes: number): Promise<Uint8Array> {
    const bytes = new Uint8Array(Math.max(0, Math.min(lengthBytes, this.sizeBytes - offsetBytes)));
    const filled = await this.readInto(offsetBytes, bytes);
    return filled === bytes.length ? bytes : bytes.subarray(0, filled);
  }

  async readInto(offsetBytes: number, bytes: Uint8Array): Promise<number> {
    const wanted = Math.max(0, Math.min(bytes.length, this.sizeBytes - offsetBytes));
    let filled = 0;
    try {
      while (filled < wanted) {
        const bytesRead = await this.readPart(bytes.subarray(filled, wanted), offsetBytes + filled);
        if (bytesRead === 0) break;
        filled += bytesRead;
      }
      this.requireUnchanged();
    } catch (error) {
      throw describeFailure(error, quoteName(this.name));
    }
    return filled;
  }

  private async readPart(into: Uint8Array, offsetBytes: number): Promise<number> {
    if (this.isBlocking) return readSync(this.handle.fd, into, 0, into.length, offsetBytes);
    return (await this.handle.read(into, 0, into.length, offsetBytes)).bytesRead;
  }

  private requireUnchanged(): void {
    const now = fstatSync(this.handle.fd, { bigint: true });
    if (now.size === this.opened.size && now.mtimeNs === this.opened.mtimeNs) return;
    const what = 'file changed while it was being read';
    const mend = 'read it again when nothing writes to it any more';
    const where = quoteName(this.name);
    if (now.size !== this.opened.size) throw new VolaryError('unreadable', { what, where, got: `${now.size} bytes`, expected: `${this.opened.size} bytes`, mend });
    throw new VolaryError('unreadable', { what, where, got: `time of change ${now.mtime.toISOString()}`, expected: this.opened.mtime.toISOString(), mend });
  }

  async close(): Promise<void> {
    if (this.isClosed) return;
    this.isClosed = true;
    await this.handle.close();
  }
}

function requireRegularFile(stats: BigIntStats, where: string): void {
  if (stats.isFile()) return;
  const got = stats.isDirectory() ? 'a folder' : stats.isFIFO() ? 'a pipe' : stats.isSocket() ? 'a socket' : 'a device';
  throw new VolaryError('unreadable', { what: 'not a regular file', where, got, expected: 'a sound file' });
}

function describeFailure(error: unknown, where: string): VolaryError {
  if (error instanceof VolaryError) return error;
  const code = (error as NodeJS.ErrnoException)?.code;
  const reasons: Record<string, string> = {
    EACCES: 'no permission to read it', EPERM: 'no permission to read it', ELOOP: 'its links lead in a circle', ENOTDIR: 'a part of its path is no folder',
    ENAMETOOLONG: 'its name is too long', EMFILE: 'too many files are open', EIO: 'the disk reports an error', ERR_INVALID_ARG_VALUE: 'its name holds a NUL character',
  };
  if (code === 'ENOENT') return new VolaryError('missing', { what: 'no such file', where }, { cause: error });
  const reason = reasons[code ?? ''] ?? (error instanceof Error ? error.message : String(error));
  return new VolaryError('unreadable', { what: 'cannot be read', where, got: reason }, { cause: error });
}
