import { join } from 'node:path';
import { formatTables, formatTablesParquet } from '../../api/format-tables.js';
import { prepareFolder, writeFileAtomic } from '../../node/write-files.js';
import { quoteName, VolaryError } from '../../schema/errors.js';
import type { Days } from '../../simulate/days/days.js';
import { formatTrueCalls } from '../../simulate/days/format-days.js';
import { simulateDays } from '../../simulate/days/simulate-days.js';
import type { SimulatedDays } from '../../simulate/days/simulate-days.js';
import { handlingTable } from '../../table/analysis-tables.js';
import { formatCsv } from '../../table/csv-table.js';
import { EXIT } from '../io.js';
import type { CommandIo } from '../io.js';
import { readTextFile } from './read-result.js';
import { nameFile } from './simulate.js';
import type { SimulateCommandOptions } from './simulate.js';

/** What `volary simulate --tables` does: a result folder of an invented study of several days, and its truth. */
export async function runSimulateDays(io: CommandIo, path: string | undefined, options: SimulateCommandOptions): Promise<number> {
  if (path === undefined || options.random !== undefined || options.ownVoice) {
    const where = path === undefined ? '--tables' : options.random !== undefined ? '--random' : '--own-voice';
    throw new VolaryError('bad-option', { where, what: path === undefined ? 'no description of a study' : 'has no meaning with --tables', expected: 'volary simulate <days.json> --tables --out <dir>' });
  }
  const text = await readTextFile(path, 'give a description of several days (JSON)');
  let input: Days;
  try {
    input = JSON.parse(text) as Days;
  } catch (cause) {
    throw new VolaryError('bad-scene', { what: 'not JSON', where: quoteName(path), got: (cause as Error).message }, { cause });
  }
  const result = await nameFile(path, () => simulateDays(input, options.seed));
  const files = listFiles(result, options.seed);
  await prepareFolder(options.out, Object.keys(files), { overwrite: options.force });
  for (const [name, content] of Object.entries(files)) await writeFileAtomic(join(options.out, name), content, { overwrite: options.force });
  const summary = {
    folder: options.out, seed: options.seed, days: result.study.days, birds: result.study.birds.length, rows: result.calls.length, trueCalls: result.trueCalls.length,
    replies: result.truth.pairs.reduce((s, p) => s + p.replies, 0), handling: result.handling.length,
  };
  io.out(io.json ? JSON.stringify(summary, null, 2) : [
    `${summary.birds} birds for ${summary.days} days in ${options.out}: ${summary.rows} rows in calls.csv for ${summary.trueCalls} true calls and syllables, ${summary.replies} of them replies`,
    `${summary.handling} handlings in handling.csv; the truth is in truth.json and truth.csv`,
  ].join('\n'));
  return EXIT.done;
}

function listFiles(result: SimulatedDays, seed: number): Record<string, string | Uint8Array> {
  const run = { schema: 1, name: result.study.name, durationSec: result.durationSec, settings: {}, simulated: { seed, from: result.study } };
  return {
    ...formatTables(result, result.study.name), ...formatTablesParquet(result), 'handling.csv': formatCsv(handlingTable, result.handling), 'run.json': `${JSON.stringify(run, null, 2)}\n`,
    'truth.csv': formatTrueCalls(result.trueCalls), 'truth.json': `${JSON.stringify(result.truth, null, 2)}\n`,
  };
}
