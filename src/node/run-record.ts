/** What lies in a result folder beside its tables: the record of its run, work that was not finished. */
import { readFile, stat } from 'node:fs/promises';
import { join } from 'node:path';
import { quoteName, VolaryError } from '../schema/errors.js';

/** The record of the run that found the calls; undefined where there is none. Throws VolaryError 'bad-table' for one that is damaged. */
export async function readRunFile(folder: string): Promise<Record<string, unknown> | undefined> {
  const path = join(folder, 'run.json');
  return (await stat(path).catch(() => undefined))?.isFile() ? readJsonFile(path) : undefined;
}

/** Reads a JSON object. Throws VolaryError 'unreadable', or 'bad-table' where it is none. */
export async function readJsonFile(path: string): Promise<Record<string, unknown>> {
  const text = await readFile(path, 'utf8').catch((error: NodeJS.ErrnoException) => {
    throw new VolaryError('unreadable', { where: quoteName(path), what: 'cannot be read', got: error.code ?? String(error) }, { cause: error });
  });
  let value: unknown;
  try {
    value = JSON.parse(text);
  } catch (cause) {
    throw new VolaryError('bad-table', { where: quoteName(path), what: 'is not JSON', got: (cause as Error).message }, { cause });
  }
  if (value === null || typeof value !== 'object' || Array.isArray(value)) throw new VolaryError('bad-table', { where: quoteName(path), what: 'is not a JSON object' });
  return value as Record<string, unknown>;
}

/** How a folder without a call table gets one: a run that was stopped has left its work there. */
export async function adviseOnCalls(folder: string): Promise<string> {
  const has = async (name: string): Promise<boolean> => (await stat(join(folder, name)).catch(() => undefined))?.isDirectory() === true;
  if (await has('unfinished')) return "an earlier 'volary attribute' was stopped here: give the same command again, and it goes on";
  return await has('parts') ? "it is worked on in parts: 'volary attribute' with --merge writes the tables" : "run 'volary attribute' with --out and this folder first";
}
