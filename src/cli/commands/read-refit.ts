import { readFile } from 'node:fs/promises';
import { join } from 'node:path';
import type { RefitRecord } from '../../report/index.js';
import { quoteName, VolaryError } from '../../schema/errors.js';

/**
 * What `refit` did to the probabilities of a folder; undefined where they are as they were found. run.json says whether, refit.json how well: one
 * that is left over from another table is not heeded.
 * @param record run.json, or undefined where there is none
 * @throws VolaryError 'bad-table' where refit.json is no JSON object
 */
export async function readRefit(folder: string, record: Record<string, unknown> | undefined): Promise<RefitRecord | undefined> {
  const told = pickObject(record?.refit);
  if (record && !told) return undefined;
  const found = await readRefitFile(folder);
  const isSame = found !== undefined && (!told || (found.labels === told.labels && found.calls === told.calls));
  const from = isSame ? found : told;
  if (!from) return undefined;
  const number = (value: unknown): number | undefined => (typeof value === 'number' && Number.isFinite(value) ? value : undefined);
  return {
    labelFile: typeof from.labelFile === 'string' ? from.labelFile : undefined, threshold: number(from.threshold), line: from.line,
    judged: number(from.judged), right: number(from.right), leftOut: number(from.leftOut), isBetter: typeof from.isBetter === 'boolean' ? from.isBetter : undefined,
    errorBefore: number(pickObject(from.before)?.calibrationError), errorAfter: number(pickObject(from.after)?.calibrationError),
  };
}

async function readRefitFile(folder: string): Promise<Record<string, unknown> | undefined> {
  const path = join(folder, 'refit.json');
  const text = await readFile(path, 'utf8').catch(() => undefined);
  if (text === undefined) return undefined;
  let value: unknown;
  try {
    value = JSON.parse(text);
  } catch (cause) {
    throw new VolaryError('bad-table', { where: quoteName(path), what: 'is not JSON', got: (cause as Error).message, mend: "run 'volary refit' again" }, { cause });
  }
  const found = pickObject(value);
  if (!found) throw new VolaryError('bad-table', { where: quoteName(path), what: 'is not a JSON object', mend: "run 'volary refit' again" });
  return found;
}

function pickObject(value: unknown): Record<string, unknown> | undefined {
  return value !== null && typeof value === 'object' && !Array.isArray(value) ? value as Record<string, unknown> : undefined;
}
