/** What the recordings of a study are, so that a result can be told from that of another study. */
import { join, resolve } from 'node:path';
import { quoteName, VolaryError } from '../schema/errors.js';
import { fingerprintFile } from './fingerprint-file.js';
import { readRunFile } from './run-record.js';
import type { StudyOnDisk } from './study-files.js';

interface Print { sizeBytes: number; sha256Ends: string }

/** What the input files are: format, length and a fingerprint, or why one cannot be used. */
export function describeInputs(study: StudyOnDisk): Promise<Record<string, unknown>[]> {
  return Promise.all([...study.headers].map(async ([path, header]) => {
    if (!('info' in header)) return { path, failure: header.failure };
    const { container, sampleRateHz, channelCount, frameCount } = header.info;
    return { path, container, sampleRateHz, channelCount, frameCount, ...await fingerprintFile(resolve(study.folder, path)) };
  }));
}

/**
 * Makes sure that the calls in a folder were found in the recordings of a study, by the record of the run that found them.
 * Files may have been named anew or lie elsewhere; one that cannot be read now, or could not be then, agrees with any.
 * @returns false where the folder has no record that names recordings: it cannot be known
 * @throws VolaryError 'not-fit' naming the first recording that is another one
 */
export async function requireResultOf(study: StudyOnDisk, folder: string): Promise<boolean> {
  const inputs = (await readRunFile(folder))?.inputs;
  if (!Array.isArray(inputs) || inputs.length === 0) return false;
  const found = indexPrints(inputs), wanted = indexPrints(await describeInputs(study));
  const refuse = (path: string, what: string, got?: string, expected?: string): never => {
    throw new VolaryError('not-fit', {
      where: quoteName(join(folder, 'run.json')), what: `the calls were found in other recordings: ${quoteName(path)} ${what}`, got, expected,
      mend: "give the folder that 'volary attribute' has written for this study",
    });
  };
  const [foundAnywhere, wantedAnywhere] = [found, wanted].map((prints) => new Set([...prints.values()].map((p) => p?.sha256Ends)));
  let compared = false;
  for (const [path, print] of wanted) {
    const other = found.get(path);
    if (print && other) {
      if (print.sizeBytes !== other.sizeBytes) refuse(path, 'has another length', `${other.sizeBytes} bytes`, `${print.sizeBytes} as in the study`);
      if (print.sha256Ends !== other.sha256Ends) refuse(path, 'holds other sound', `SHA-256 ${other.sha256Ends.slice(0, 12)}...`, `${print.sha256Ends.slice(0, 12)}... as in the study`);
      compared = true;
    } else if (!found.has(path)) {
      if (!print || !foundAnywhere.has(print.sha256Ends)) refuse(path, 'of the study was not among them');
      compared = true;
    }
  }
  for (const [path, print] of found) if (!wanted.has(path) && !(print && wantedAnywhere.has(print.sha256Ends))) refuse(path, 'is not in the study');
  return compared;
}

/** Fingerprints by path; undefined for a file that had none. */
function indexPrints(inputs: readonly unknown[]): Map<string, Print | undefined> {
  return new Map(inputs.map((input) => {
    const { path, sizeBytes, sha256Ends } = (input ?? {}) as Partial<Print & { path: string }>;
    return [String(path), typeof sizeBytes === 'number' && typeof sha256Ends === 'string' ? { sizeBytes, sha256Ends } : undefined];
  }));
}
