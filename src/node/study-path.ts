import { realpath } from 'node:fs/promises';
import { basename, dirname, isAbsolute, join, relative, resolve, sep } from 'node:path';

/**
 * The path of a study's manifest as a result names it: relative to the result's own folder, with '/' on every system, so that both may move together and
 * give the same bytes wherever they lie. Absolute where no relative path leads there (another disk).
 */
export async function nameStudyPath(folder: string, manifestPath: string): Promise<string> {
  const [from, beside] = await Promise.all([findRealPath(folder), findRealPath(dirname(manifestPath))]);
  const path = relative(from, join(beside, basename(manifestPath)));
  return isAbsolute(path) ? path : path.split(sep).join('/');
}

/** The manifest that a result's record names; undefined where it names none. Records of earlier versions hold absolute paths. */
export async function findStudyPath(folder: string, named: unknown): Promise<string | undefined> {
  if (typeof named !== 'string' || named === '') return undefined;
  if (isAbsolute(named)) return named;
  // From a folder that was reached over a link, '..' would lead elsewhere.
  const real = await findRealPath(folder);
  return join(real === resolve(folder) ? folder : real, named);
}

/** A path without links; as it is where nothing lies there. Two names of one folder are one folder. */
export function findRealPath(path: string): Promise<string> {
  return realpath(path).catch(() => resolve(path));
}
