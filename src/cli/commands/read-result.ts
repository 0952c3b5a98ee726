import { readFile, stat } from 'node:fs/promises';
import { join } from 'node:path';
import { adviseOnCalls } from '../../node/run-record.js';
import { quoteName, VolaryError } from '../../schema/errors.js';
import type { CallRow } from '../../schema/rows.js';
import { parseCsv } from '../../table/csv-table.js';
import { callTable, trackTable } from '../../table/table-specs.js';

/** Larger texts do not fit a string; two weeks of sixteen birds are far below. */
const MAX_TEXT_BYTES = 400 * 2 ** 20;

/** Length of a row of tracks.csv. */
const HOUR_SEC = 3600;

/**
 * Reads the call table of a result folder.
 * @throws VolaryError 'missing' where the folder or the table is not there, 'bad-table' on a damaged one.
 */
export async function readCalls(folder: string): Promise<CallRow[]> {
  const found = await stat(folder).catch(() => undefined);
  if (!found) throw new VolaryError('missing', { where: quoteName(folder), what: 'no such folder', expected: "a folder that 'volary attribute' has written" });
  if (!found.isDirectory()) throw new VolaryError('missing', { where: quoteName(folder), what: 'not a folder', expected: "a folder that 'volary attribute' has written" });
  const path = join(folder, 'calls.csv');
  return parseCsv(callTable, await readTextFile(path, await adviseOnCalls(folder)), path);
}

/**
 * Time at or after which nothing can have been analysed: the end of the last hour in tracks.csv; undefined where there is no such table.
 */
export async function readAnalysedEnd(folder: string): Promise<number | undefined> {
  const path = join(folder, 'tracks.csv');
  if (!(await stat(path).catch(() => undefined))?.isFile()) return undefined;
  const rows = parseCsv(trackTable, await readTextFile(path, ''), path);
  return rows.length ? rows.reduce((latest, row) => Math.max(latest, row.startSec), 0) + HOUR_SEC : undefined;
}

/** Reads a text of at most 400 MiB; `mend` says what to do where it is missing. */
export async function readTextFile(path: string, mend: string): Promise<string> {
  const found = await stat(path).catch(() => undefined);
  if (!found) throw new VolaryError('missing', { where: quoteName(path), what: 'no such file', mend });
  if (!found.isFile()) throw new VolaryError('unreadable', { where: quoteName(path), what: 'not a regular file', got: found.isDirectory() ? 'a folder' : undefined, expected: 'a file' });
  if (found.size > MAX_TEXT_BYTES) {
    throw new VolaryError('unreadable', { where: quoteName(path), what: 'too large for a table', got: `${found.size} bytes`, expected: `at most ${MAX_TEXT_BYTES}` });
  }
  try {
    return await readFile(path, 'utf8');
  } catch (error) {
    throw new VolaryError('unreadable', { where: quoteName(path), what: 'cannot be read', got: (error as NodeJS.ErrnoException).code ?? String(error) }, { cause: error });
  }
}
