import { open, readdir, realpath, stat } from 'node:fs/promises';
import type { Stats } from 'node:fs';
import { join } from 'node:path';
import { HEAD_BYTES, promisesSound, startsLikeSound } from '../audio/sound-names.js';
import { quoteName, VolaryError } from '../schema/errors.js';

export interface FolderContent {
  /** Paths relative to the folder, with '/'. Regular files that are, or claim to be, sound. */
  soundPaths: string[];
  /** One line each: what looks like sound and cannot even be opened (pipe, link to nothing). */
  unusable: string[];
}

const MAX_DEPTH = 12;

/**
 * Finds sound files in a folder and its sub-folders: by content, or by an extension that promises sound. Hidden files are skipped,
 * pipes and devices are never opened, and no folder is entered twice, so that circles of links end.
 * @throws VolaryError 'missing' or 'unreadable' about the folder itself
 */
export async function findAudioFiles(folder: string): Promise<FolderContent> {
  const found = await stat(folder).catch((e: NodeJS.ErrnoException) => e);
  if (found instanceof Error) throw new VolaryError(found.code === 'ENOENT' ? 'missing' : 'unreadable', { where: quoteName(folder), what: found.code === 'ENOENT' ? 'no such folder' : 'cannot be read', ...(found.code === 'ENOENT' ? {} : { got: found.code ?? found.message }) });
  if (!found.isDirectory()) throw new VolaryError('unreadable', { where: quoteName(folder), what: 'is not a folder', expected: 'a folder of recordings' });
  const content: FolderContent = { soundPaths: [], unusable: [] };
  await walk(folder, '', 0, new Set(), content);
  return content;
}

async function walk(folder: string, below: string, depth: number, seen: Set<string>, content: FolderContent): Promise<void> {
  const here = join(folder, below);
  try {
    const real = await realpath(here);
    if (seen.has(real)) return;
    seen.add(real);
    const names = await readdir(here);
    for (const name of names.sort()) {
      if (name.startsWith('.')) continue;
      const path = below ? `${below}/${name}` : name;
      await visit(folder, path, depth, seen, content);
    }
  } catch (error) {
    content.unusable.push(`${quoteName(here)}: cannot be read; got ${(error as NodeJS.ErrnoException).code ?? String(error)}`);
  }
}

async function visit(folder: string, path: string, depth: number, seen: Set<string>, content: FolderContent): Promise<void> {
  const full = join(folder, path);
  const refuse = (reason: string): void => { if (promisesSound(path)) content.unusable.push(`${quoteName(full)}: ${reason}`); };
  let found: Stats;
  try {
    found = await stat(full);
  } catch (error) {
    const code = (error as NodeJS.ErrnoException).code;
    return refuse(code === 'ELOOP' ? 'its links lead in a circle' : code === 'ENOENT' ? 'is a link to nothing' : `cannot be read; got ${code}`);
  }
  if (found.isDirectory()) {
    if (depth < MAX_DEPTH) await walk(folder, path, depth + 1, seen, content);
    else content.unusable.push(`${quoteName(full)}: lies too deep; expected at most ${MAX_DEPTH} folders`);
  } else if (!found.isFile()) {
    refuse('is no regular file');
  } else if (promisesSound(path) || await holdsSound(full)) {
    content.soundPaths.push(path);
  }
}

async function holdsSound(path: string): Promise<boolean> {
  let handle;
  try {
    handle = await open(path, 'r');
    const { buffer, bytesRead } = await handle.read(new Uint8Array(HEAD_BYTES), 0, HEAD_BYTES, 0);
    return startsLikeSound(buffer.subarray(0, bytesRead));
  } catch {
    return false;
  } finally {
    await handle?.close();
  }
}
