import { createHash } from 'node:crypto';
import { readdir, readFile, rm, stat } from 'node:fs/promises';
import { join } from 'node:path';
import type { Checkpoint } from '../pipeline/checkpoint.js';
import { quoteName, VolaryError } from '../schema/errors.js';
import { prepareFolder, writeFileAtomic } from './write-files.js';

/** What finished work depends on: it is only used again where all of it is the same. */
export type CheckpointHeader = Record<string, unknown>;

export interface CheckpointFolder extends Checkpoint {
  /** True where work of an earlier run was found. */
  readonly isResumed: boolean;
  /** Removes the folder once all is written, the work under `lastKey` at the very end: as long as it is there, the rest may be gone. */
  clear(lastKey: string): Promise<void>;
}

export interface CheckpointOptions {
  /** Start anew where the folder holds work that does not fit. */
  discard?: boolean;
  /** How the user gets out of it where the work does not fit. */
  mend?: string;
  /** Told of every file that is damaged, one line each. */
  onDamage?: (text: string) => void;
}

const HEADER = 'header.json';

/**
 * Finished work as files of a folder. Each begins with a checksum over the header and its own content, so that a damaged file, or one of another
 * study, is done again instead of being believed, whatever happened to the header.
 * @throws VolaryError 'stale' naming the first field that differs, 'unreadable' where the folder cannot be written
 */
export async function openCheckpointFolder(folder: string, header: CheckpointHeader, options: CheckpointOptions = {}): Promise<CheckpointFolder> {
  const found = await readCheckpointHeader(folder);
  const wanted = JSON.stringify(header);
  let isKept = (await readdir(folder).catch(() => [])).some((name) => /^[\w-]+\.part$/.test(name));
  if (found === 'damaged') options.onDamage?.(`warning: ${quoteName(join(folder, HEADER))} is damaged: finished work that fits is kept`);
  else if (found) {
    const field = Object.keys({ ...header, ...found }).find((k) => JSON.stringify(header[k]) !== JSON.stringify(found[k]));
    if (field && !options.discard) {
      throw new VolaryError('stale', {
        where: quoteName(folder), what: `holds unfinished work that does not fit: ${field} differs`, got: show(found[field]), expected: show(header[field]),
        mend: options.mend ?? 'use --force to start anew, or another folder',
      });
    }
    if (field) await rm(folder, { recursive: true, force: true });
    isKept = !field;
  }
  await prepareFolder(folder, []);
  if (found === 'damaged' || !found || !isKept) await writeFileAtomic(join(folder, HEADER), `${digest('', wanted)}\n${wanted}\n`, { overwrite: true });
  const identity = digest('', wanted);
  const locate = (key: string): string => join(folder, `${key}.part`);
  return {
    isResumed: isKept,
    load: (key) => loadWork(locate(key), identity, options.onDamage),
    save: (key, bytes) => writeFileAtomic(locate(key), Buffer.concat([Buffer.from(`${digest(identity, bytes)}\n`), bytes]), { overwrite: true }),
    async clear(lastKey) {
      const last = `${lastKey}.part`;
      for (const name of await readdir(folder)) if (name !== last) await rm(join(folder, name), { recursive: true, force: true });
      await rm(folder, { recursive: true, force: true });
    },
  };
}

async function loadWork(path: string, identity: string, onDamage?: (text: string) => void): Promise<Uint8Array | undefined> {
  let got = 'its checksum does not fit';
  try {
    const bytes = await readFile(path);
    const line = bytes.indexOf('\n');
    const body = bytes.subarray(line + 1);
    if (bytes.toString('latin1', 0, Math.max(0, line)) === digest(identity, body)) return body;
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    if (code === 'ENOENT') return undefined;
    got = String(code ?? error);
  }
  onDamage?.(`warning: ${quoteName(path)} is damaged (${got}): this piece of work is done again`);
  return undefined;
}

/** What the finished work in a folder depends on; undefined where there is none, 'damaged' where it is not what was written. */
export async function readCheckpointHeader(folder: string): Promise<CheckpointHeader | 'damaged' | undefined> {
  try {
    const text = await readFile(join(folder, HEADER), 'utf8');
    const [checksum, header] = text.split('\n');
    return header !== undefined && checksum === digest('', header) ? JSON.parse(header) as CheckpointHeader : 'damaged';
  } catch (error) {
    return (error as NodeJS.ErrnoException).code === 'ENOENT' ? undefined : 'damaged';
  }
}

function digest(identity: string, content: string | Uint8Array): string {
  return createHash('sha256').update(identity).update(content).digest('hex');
}

function show(value: unknown): string {
  const text = JSON.stringify(value) ?? 'nothing';
  return text.length > 60 ? `${text.slice(0, 57)}...` : text;
}

/** Size of a file and a digest of its first and last 64 KiB: tells another recording of the same name apart without reading all of it. */
export async function fingerprintFile(path: string): Promise<{ sizeBytes: number; sha256Ends: string } | null> {
  const { open } = await import('node:fs/promises');
  try {
    const info = await stat(path);
    if (!info.isFile()) return null;
    const handle = await open(path, 'r');
    try {
      const length = Math.min(65536, info.size);
      const ends = Buffer.alloc(2 * length);
      await handle.read(ends, 0, length, 0);
      await handle.read(ends, length, length, info.size - length);
      return { sizeBytes: info.size, sha256Ends: createHash('sha256').update(ends).digest('hex') };
    } finally {
      await handle.close();
    }
  } catch {
    return null;
  }
}
