import { randomBytes } from 'node:crypto';
import { mkdir, open, readdir, realpath, rename, stat, unlink, writeFile } from 'node:fs/promises';
import type { FileHandle } from 'node:fs/promises';
import { dirname, join, resolve } from 'node:path';
import { quoteName, VolaryError } from '../schema/errors.js';
import { markFinished, markUnfinished } from './unfinished-files.js';

export interface WriteOptions {
  /** Replaces a file that is there; otherwise it is refused. */
  overwrite?: boolean;
}

/** What a file is to hold; a large one piece by piece. */
export type FileContent = string | Uint8Array | AsyncIterable<Uint8Array>;

/**
 * Writes a file so that it is there whole or not at all: into a neighbour first, then renamed.
 * @throws VolaryError 'exists' where it is there and overwrite is not set, 'unreadable' where the place cannot be written.
 * @example await writeFileAtomic('out/calls.csv', text, { overwrite: true })
 */
export async function writeFileAtomic(path: string, data: FileContent, options: WriteOptions = {}): Promise<void> {
  const found = await stat(path).catch(() => undefined);
  if (found?.isDirectory()) throw new VolaryError('exists', { where: quoteName(path), what: 'is a folder', expected: 'the name of a file' });
  if (found?.isFile() && !options.overwrite) throw refuseOverwrite(path);
  if (found && !found.isFile()) return writeFile(path, data);
  // A link stays a link: what it points to is replaced.
  const target = found ? await realpath(path) : path;
  const temporary = nameTemporary(target);
  markUnfinished(temporary);
  try {
    const handle = await open(temporary, 'wx');
    try {
      await writeAll(handle, data);
      await syncFile(handle);
    } finally {
      await handle.close();
    }
    await rename(temporary, target);
  } catch (error) {
    await unlink(temporary).catch(() => undefined);
    throw describeWriteError(path, error);
  } finally {
    markFinished(temporary);
  }
}

/** From where the file ends so far. */
async function writeAll(handle: FileHandle, data: FileContent): Promise<void> {
  if (typeof data === 'string' || data instanceof Uint8Array) return handle.writeFile(data);
  for await (const piece of data) await handle.writeFile(piece);
}

/** Writes through to the disk. Some disks find out only now that they are full or broken. Others cannot do this at all, which does no harm. */
export async function syncFile(handle: FileHandle): Promise<void> {
  await handle.sync().catch((error: NodeJS.ErrnoException) => { if (!CANNOT_SYNC.has(error.code ?? '')) throw error; });
}

/** A neighbour to write a file into before it gets its name. */
export function nameTemporary(path: string): string {
  // Process numbers repeat on other machines that write to the same disk, and in containers from run to run.
  return `${path}.${process.pid}-${randomBytes(6).toString('hex')}.part`;
}

/**
 * Makes sure, before hours of work, that a folder is there and that none of the files to be written exists in it.
 * @throws VolaryError 'exists' naming the first file that is in the way.
 */
export async function prepareFolder(folder: string, names: readonly string[], options: WriteOptions = {}): Promise<void> {
  await makeFolder(folder);
  for (const name of names) await refuseExisting(join(folder, name), options);
}

/**
 * Makes a folder and those that it lies in. One by one: in a place that takes none and says that it is not there, Node's own recursion tries for ever.
 * @throws VolaryError 'unreadable'
 */
export async function makeFolder(folder: string): Promise<void> {
  const missing: string[] = [];
  let at = resolve(folder);
  let found = await stat(at).catch(() => undefined);
  if (found && !found.isDirectory()) throw describeWriteError(folder, { code: 'EEXIST' });
  while (!found && dirname(at) !== at) {
    missing.unshift(at);
    at = dirname(at);
    found = await stat(at).catch(() => undefined);
  }
  for (const path of missing) {
    await mkdir(path).catch((error: NodeJS.ErrnoException) => {
      // Another run may have made it meanwhile.
      if (error.code !== 'EEXIST') throw describeWriteError(folder, error);
    });
  }
}

/** Throws VolaryError 'exists' where a file is there and overwrite is not set, 'missing' where its folder is not there. */
export async function refuseExisting(path: string, options: WriteOptions = {}): Promise<void> {
  const found = await stat(path).catch(() => undefined);
  if (found?.isDirectory()) throw new VolaryError('exists', { where: quoteName(path), what: 'is a folder', expected: 'the name of a file' });
  if (found?.isFile() && !options.overwrite) throw refuseOverwrite(path);
  if (!found && !(await stat(dirname(path)).catch(() => undefined))?.isDirectory()) {
    throw new VolaryError('missing', { where: quoteName(dirname(path)), what: 'no such folder to write to' });
  }
}

/** Removes what killed writes of these files left in their folder, but for what another process may still be writing. */
export async function sweepUnfinished(folder: string, names: readonly string[]): Promise<void> {
  for (const found of await readdir(folder)) {
    const [, name, pid] = /^(.*)\.(\d+)-[0-9a-f]{12}\.part$/.exec(found) ?? [];
    if (name !== undefined && names.includes(name) && !isOtherRunning(Number(pid))) await unlink(join(folder, found)).catch(() => undefined);
  }
}

/** Whether another process of this number runs; this one has begun nothing yet when it sweeps. */
function isOtherRunning(pid: number): boolean {
  if (pid === process.pid) return false;
  try {
    return process.kill(pid, 0);
  } catch (error) {
    return (error as NodeJS.ErrnoException).code === 'EPERM';
  }
}

function refuseOverwrite(path: string): VolaryError {
  return new VolaryError('exists', { where: quoteName(path), what: 'is there already', mend: 'choose another place or add --force' });
}

/** The one line for what the operating system answered to a write. */
export function describeWriteError(path: string, error: unknown): VolaryError {
  const code = (error as NodeJS.ErrnoException).code ?? String(error);
  const reasons: Record<string, string> = {
    ENOENT: 'its folder is not there', EACCES: 'permission denied', EPERM: 'permission denied', EROFS: 'the disk is read-only', EIO: 'the disk reports an error',
    ENOSPC: 'no space left on the disk', EDQUOT: 'the quota of the disk is used up', ENOTDIR: 'a part of the path is a file', EEXIST: 'a file is in the way', ENAMETOOLONG: 'the name is too long',
  };
  const mend = code === 'ENOSPC' || code === 'EDQUOT' ? 'make room, then run the same command again' : undefined;
  return new VolaryError('unreadable', { where: quoteName(path), what: 'cannot be written', got: reasons[code] ?? code, mend }, { cause: error });
}

/** What file systems answer that cannot write through to the disk on demand. */
const CANNOT_SYNC = new Set(['EINVAL', 'ENOTSUP', 'EOPNOTSUPP', 'ENOSYS', 'EPERM', 'EACCES', 'EBADF']);
