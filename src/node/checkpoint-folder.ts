import { createHash } from 'node:crypto';
import { mkdir, readdir, readFile, rm, stat } from 'node:fs/promises';
import { join } from 'node:path';
import type { Checkpoint } from '../pipeline/checkpoint.js';
import { quoteName, VolaryError } from '../schema/errors.js';
import { writeFileAtomic } from './write-files.js';

/** What finished work depends on: it is only used again where all of it is the same. */
export type CheckpointHeader = Record<string, unknown>;

export interface CheckpointFolder extends Checkpoint {
  /** True where work of an earlier run was found. */
  readonly isResumed: boolean;
  /** Removes the folder once all is written. */
  clear(): Promise<void>;
}

const HEADER = 'header.json';

/**
 * Finished work as files of a folder: each holds its own checksum, so that a damaged one is done again instead of being believed.
 * @param discard start anew where the folder holds work that does not fit
 * @param mend how the user gets out of it where it does not fit
 * @throws VolaryError 'stale' naming the first field that differs
 */
export async function openCheckpointFolder(folder: string, header: CheckpointHeader, discard: boolean, mend = 'use --force to start anew, or another folder'): Promise<CheckpointFolder> {
  const found = await readCheckpointHeader(folder);
  let isResumed = false;
  // Nobody can tell what work without a header belongs to.
  if (!found && (await readdir(folder).catch(() => [])).some((name) => /^[\w-]+\.part$/.test(name))) await rm(folder, { recursive: true, force: true });
  if (found) {
    const field = Object.keys({ ...header, ...found }).find((k) => JSON.stringify(header[k]) !== JSON.stringify(found[k]));
    if (!field) isResumed = true;
    else if (discard) await rm(folder, { recursive: true, force: true });
    else {
      throw new VolaryError('stale', {
        where: quoteName(folder), what: `holds unfinished work that does not fit: ${field} differs`, got: show(found[field]), expected: show(header[field]),
        mend,
      });
    }
  }
  await mkdir(folder, { recursive: true });
  if (!isResumed) await writeFileAtomic(join(folder, HEADER), `${JSON.stringify(header)}\n`, { overwrite: true });
  return {
    isResumed,
    async load(key) {
      const text = await readFile(join(folder, `${key}.part`), 'utf8').catch(() => undefined);
      if (text === undefined) return undefined;
      const line = text.indexOf('\n');
      const body = text.slice(line + 1);
      return text.slice(0, line) === digest(body) ? body : undefined;
    },
    async save(key, text) {
      await writeFileAtomic(join(folder, `${key}.part`), `${digest(text)}\n${text}`, { overwrite: true });
    },
    clear: () => rm(folder, { recursive: true, force: true }),
  };
}

/** What the finished work in a folder depends on; undefined where there is none. */
export async function readCheckpointHeader(folder: string): Promise<CheckpointHeader | undefined> {
  try {
    const header: unknown = JSON.parse(await readFile(join(folder, HEADER), 'utf8'));
    return header !== null && typeof header === 'object' ? header as CheckpointHeader : undefined;
  } catch {
    // No header, or one that was never finished: nothing to go on from.
    return undefined;
  }
}

function digest(text: string): string {
  return createHash('sha256').update(text).digest('hex');
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
