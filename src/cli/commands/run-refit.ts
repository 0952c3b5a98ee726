import { createHash } from 'node:crypto';
import { readFile } from 'node:fs/promises';
import { basename, join } from 'node:path';
import { RESULT_FILES } from '../../node/attribute-to-folder.js';
import { readRunFile } from '../../node/run-record.js';
import { findRealPath, findStudyPath, nameStudyPath } from '../../node/study-path.js';
import { prepareFolder, writeFileAtomic } from '../../node/write-files.js';
import { formatRefit, refitToJson } from '../../refit/format-refit.js';
import { judgeSample, judgeStretch } from '../../refit/judge-rows.js';
import type { Judgement } from '../../refit/judge-rows.js';
import { refitCalls } from '../../refit/refit-calls.js';
import { quoteName, VolaryError } from '../../schema/errors.js';
import type { CallRow } from '../../schema/rows.js';
import { isSample, readSample } from '../../score/sample-file.js';
import { formatCsv } from '../../table/csv-table.js';
import { readLabels } from '../../table/labels.js';
import { formatParquet } from '../../table/parquet-table.js';
import { callTable } from '../../table/table-specs.js';
import { EXIT } from '../io.js';
import type { CommandIo } from '../io.js';
import { readCalls, readTextFile } from './read-result.js';
import type { RefitCommandOptions } from './refit.js';

/** Tables that do not change, and what analyses look for beside them; whatever is there goes along. */
const WRITTEN = ['calls.csv', 'calls.parquet', 'run.json', 'refit.json'];
const COPIED = ['handling.csv', 'excluded.csv', ...RESULT_FILES.filter((name) => !WRITTEN.includes(name))];

/** What `volary refit` does. */
export async function runRefit(io: CommandIo, folder: string, options: RefitCommandOptions): Promise<number> {
  if (await findRealPath(folder) === await findRealPath(options.out)) {
    throw new VolaryError('bad-option', { where: '--out', what: 'is the folder itself, whose tables stay as they are', expected: 'another folder' });
  }
  const calls = await readCalls(folder);
  const text = await readTextFile(options.labels, "verify calls in 'volary review' first, which writes verified.csv");
  const refit = refitCalls(calls, judgeRows(calls, text, options), { threshold: options.threshold });
  const copies = await readCopies(folder);
  await prepareFolder(options.out, [...WRITTEN, ...copies.map(([name]) => name)], { overwrite: options.force });
  const origin = { calls: hash(await readFile(join(folder, 'calls.csv'), 'utf8')), labels: hash(text), labelFile: basename(options.labels), threshold: options.threshold };
  const json = refitToJson(refit, origin);
  const write = (name: string, data: string | Uint8Array): Promise<void> => writeFileAtomic(join(options.out, name), data, { overwrite: true });
  for (const [name, data] of copies) await write(name, data);
  const run = await describeRun(folder, options.out, { ...origin, line: refit.line });
  if (run !== undefined) await write('run.json', run);
  await write('refit.json', json);
  await write('calls.parquet', formatParquet(callTable, refit.calls));
  await write('calls.csv', formatCsv(callTable, refit.calls));
  io.out(io.json ? json.trimEnd() : `${formatRefit(refit)}\n\ntables in ${options.out}`);
  return EXIT.done;
}

function judgeRows(calls: readonly CallRow[], text: string, { labels, from, to }: RefitCommandOptions): Judgement {
  if (isSample(text, labels)) {
    if (from === undefined && to === undefined) return judgeSample(calls, readSample(text, labels));
    throw new VolaryError('bad-option', { where: from === undefined ? '--to' : '--from', what: 'has no meaning for a verified sample', expected: 'no such option, or a label file' });
  }
  if (from === undefined || to === undefined || from >= to) {
    throw new VolaryError('bad-option', {
      where: '--from and --to', what: from === undefined || to === undefined ? 'labels alone do not say which rows were judged' : 'the stretch is empty',
      expected: 'the stretch of which every call is labelled', mend: "or give a verified sample (verified.csv of 'volary review')",
    });
  }
  return judgeStretch(calls, readLabels(text, labels), { fromSec: from, toSec: to });
}

async function readCopies(folder: string): Promise<[string, Uint8Array][]> {
  const found = await Promise.all(COPIED.map(async (name): Promise<[string, Uint8Array][]> => {
    const data = await readFile(join(folder, name)).catch((error: NodeJS.ErrnoException) => {
      if (error.code === 'ENOENT') return undefined;
      throw new VolaryError('unreadable', { where: quoteName(join(folder, name)), what: 'cannot be read', got: error.code ?? String(error) }, { cause: error });
    });
    return data === undefined ? [] : [[name, data]];
  }));
  return found.flat();
}

/** The record of the run that found the calls, with what was done to their probabilities since. */
async function describeRun(folder: string, out: string, refit: object): Promise<string | undefined> {
  const run = await readRunFile(folder);
  if (run === undefined) return undefined;
  const study = await findStudyPath(folder, run.study);
  // Earlier versions wrote where the folder lay.
  const { folder: _, ...rest } = run;
  return `${JSON.stringify({ ...rest, ...(study === undefined ? {} : { study: await nameStudyPath(out, study) }), refit }, null, 2)}\n`;
}

function hash(text: string): string {
  return createHash('sha256').update(text).digest('hex');
}
