import { createHash } from 'node:crypto';
import { readdir, rm, stat } from 'node:fs/promises';
import { join } from 'node:path';
import type { Checkpoint } from '../pipeline/checkpoint.js';
import { quoteName, VolaryError } from '../schema/errors.js';
import { readRegularFile } from './read-regular.js';
import { prepareFolder, writeFileAtomic } from './write-files.js';

/** What finished work depends on: it is only used again where all of it is the same. */
export type CheckpointHeader = Record<string, unknown>;

export interface CheckpointFolder extends Checkpoint {
  /** Where the files lie. Others may lie there, too; `clear` removes them. */
  readonly folder: string;
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
 * Finished work as files of a folder. Each begins with a checksum over the header, its own key and its own content, so that a damaged file, one of another
 * study, or one under the name of another piece is done again instead of being believed, whatever happened to the header.
 * @throws VolaryError 'stale' naming the first field that differs, 'unreadable' where the folder cannot be written; from its methods 'stale' where another run took the folder away
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
  if (found === 'damaged' || !found || !isKept) await writeWork(folder, HEADER, `${digest('', wanted)}\n${wanted}\n`);
  const identity = digest('', wanted);
  return {
    folder,
    isResumed: isKept,
    load: (key) => loadWork(locateWork(folder, key), identity + key, options.onDamage),
    save: (key, bytes) => writeWork(folder, `${key}.part`, Buffer.concat([Buffer.from(`${digest(identity + key, bytes)}\n`), bytes])),
    async clear(lastKey) {
      const last = `${lastKey}.part`;
      // Another run that has finished, too, may be clearing the same folder.
      for (const name of await readdir(folder).catch(() => [])) if (name !== last) await rm(join(folder, name), { recursive: true, force: true });
      await rm(folder, { recursive: true, force: true, maxRetries: 3 });
    },
  };
}

/** Whether a folder holds a whole piece of work under a key that was written with just this header. */
export async function holdsWork(folder: string, header: CheckpointHeader, key: string): Promise<boolean> {
  return await loadWork(locateWork(folder, key), digest('', JSON.stringify(header)) + key) !== undefined;
}

function locateWork(folder: string, key: string): string {
  return join(folder, `${key}.part`);
}

async function writeWork(folder: string, name: string, data: string | Uint8Array): Promise<void> {
  const path = join(folder, name);
  const found = await stat(path).catch(() => undefined);
  // What is neither file nor folder is in the way: written to, a pipe would wait for a reader.
  if (found && !found.isFile() && !found.isDirectory()) await rm(path, { force: true });
  try {
    await writeFileAtomic(path, data, { overwrite: true });
  } catch (error) {
    // The folder was there when work began: only another run removes it, or what is just being written into it.
    if (((error as Error).cause as NodeJS.ErrnoException | undefined)?.code !== 'ENOENT') throw error;
    throw new VolaryError('stale', {
      where: quoteName(folder), what: 'was removed meanwhile: another run is working or has finished in this folder', mend: 'look whether its tables are there; if not, run the same command again, one at a time',
    }, { cause: error });
  }
}

async function loadWork(path: string, identity: string, onDamage?: (text: string) => void): Promise<Uint8Array | undefined> {
  let got = 'its checksum does not fit';
  try {
    const bytes = await readRegularFile(path);
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
    const text = (await readRegularFile(join(folder, HEADER))).toString('utf8');
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
