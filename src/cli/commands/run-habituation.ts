import { readFile } from 'node:fs/promises';
import { join } from 'node:path';
import { DEFAULT_DAYS_AFTER } from '../../analysis/exclusions/derive-exclusions.js';
import { formatHabituation, habituationToJson } from '../../analysis/habituation/format-habituation.js';
import { compareRows, measureHabituation } from '../../analysis/habituation/measure-habituation.js';
import { DEFAULT_TEST_DAYS } from '../../analysis/habituation/settings.js';
import { writeFileAtomic } from '../../node/write-files.js';
import { quoteName, VolaryError } from '../../schema/errors.js';
import { exclusionTable, habituationTable } from '../../table/analysis-tables.js';
import { formatCsv } from '../../table/csv-table.js';
import { formatCsvwMetadata } from '../../table/csvw-metadata.js';
import { formatDataPackage } from '../../table/data-package.js';
import { readMovement } from '../../table/handling.js';
import { formatParquet } from '../../table/parquet-table.js';
import { EXIT } from '../io.js';
import type { CommandIo } from '../io.js';
import type { HabituationCommandOptions } from './habituation.js';
import { readAnalysis } from './read-analysis.js';
import { readTextFile } from './read-result.js';

/** What `volary habituation` does. */
export async function runHabituation(io: CommandIo, folder: string, options: HabituationCommandOptions): Promise<number> {
  const input = await readAnalysis(io, 'habituation', folder, options);
  if (input.handlingFile === undefined) {
    throw new VolaryError('missing', { where: quoteName(folder), what: 'no handling log', expected: 'handling.csv with bird, time and what, in this folder or beside the study', mend: 'give it with --handling' });
  }
  const movement = options.movement === undefined ? undefined : readMovement(await readTextFile(options.movement, 'give a CSV file with the columns bird, t_s and value'), options.movement);
  if (movement && !movement.some((m) => input.birds.includes(m.bird))) {
    throw new VolaryError('no-data', { where: quoteName(options.movement!), what: 'no value of a bird that has a track', got: [...new Set(movement.map((m) => m.bird))].slice(0, 5).join(', ') || 'no rows', expected: input.birds.join(', ') });
  }
  await guardExcluded(folder, options.force ?? false);
  const result = measureHabituation({ ...input, movement }, {
    ...(options.margin === undefined ? {} : { margin: options.margin }), alpha: options.alpha, slotHours: options.slotHours, threshold: options.threshold,
    bout: { gapSec: options.boutGap, syllables: options.boutSyllables }, testDays: { ...DEFAULT_TEST_DAYS, ...options.testDays }, daysAfter: { ...DEFAULT_DAYS_AFTER, ...options.daysAfter },
    ...(input.startUtc === undefined ? {} : { startUtc: input.startUtc }), utcOffsetMin: options.utcOffset,
    ...(options.measures ? { measures: options.measures } : {}),
    ...(options.baseline ? { baseline: [options.baseline[0] * 86400, options.baseline[1] * 86400] as const } : {}),
  });
  const excluded = formatCsv(exclusionTable, result.excluded);
  const json = habituationToJson(result, { study: input.name, excludedText: excluded });
  const write = (name: string, data: string | Uint8Array): Promise<void> => writeFileAtomic(join(folder, name), data, { overwrite: true });
  const rows = [...result.rows].sort(compareRows);
  await write('habituation.csv', formatCsv(habituationTable, rows));
  await write('habituation.parquet', formatParquet(habituationTable, rows));
  await write('excluded.csv', excluded);
  await write('excluded.parquet', formatParquet(exclusionTable, result.excluded));
  const tables = [habituationTable, exclusionTable];
  await write('habituation-datapackage.json', formatDataPackage('habituation', tables));
  await write('habituation.csv-metadata.json', formatCsvwMetadata('habituation', tables));
  await write('habituation.json', json);
  io.out(io.json ? json.trimEnd() : formatHabituation(result));
  return EXIT.done;
}

/** An excluded.csv that is not the one written last time was made by a person and is not replaced unasked. */
async function guardExcluded(folder: string, force: boolean): Promise<void> {
  const path = join(folder, 'excluded.csv');
  const found = await readFile(path, 'utf8').catch(() => undefined);
  if (found === undefined || force) return;
  const record = await readFile(join(folder, 'habituation.json'), 'utf8').then((text) => JSON.parse(text) as { excludedText?: unknown }).catch(() => undefined);
  if (record?.excludedText !== found) throw new VolaryError('exists', { where: quoteName(path), what: 'is there already and was not written by this command', mend: 'move it away or add --force' });
}
