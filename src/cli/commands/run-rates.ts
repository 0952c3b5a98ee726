import { join } from 'node:path';
import { formatRates, ratesToJson } from '../../analysis/rates/format-rates.js';
import { measureRates } from '../../analysis/rates/measure-rates.js';
import { writeFileAtomic } from '../../node/write-files.js';
import { boutTable, dayRateTable, hourRateTable, rateTable } from '../../table/analysis-tables.js';
import { formatCsv } from '../../table/csv-table.js';
import { EXIT } from '../io.js';
import type { CommandIo } from '../io.js';
import type { RatesCommandOptions } from './rates.js';
import { describeClock, findExclusions, readAnalysis } from './read-analysis.js';

/** What `volary rates` does. */
export async function runRates(io: CommandIo, folder: string, options: RatesCommandOptions): Promise<number> {
  const input = await readAnalysis(io, 'rates', folder, options);
  const excluded = await findExclusions(folder, input, options);
  const rates = measureRates({ ...input, exclusions: excluded.rows }, {
    threshold: options.threshold, weighted: options.weighted ?? false, bout: { gapSec: options.boutGap, syllables: options.boutSyllables },
    startUtc: input.startUtc, utcOffsetMin: options.utcOffset,
  });
  const json = ratesToJson(rates, { study: input.name, excludedBy: excluded.source, excluded: excluded.rows });
  const write = (name: string, text: string): Promise<void> => writeFileAtomic(join(folder, name), text, { overwrite: true });
  await write('rates.csv', formatCsv(rateTable, rates.rates));
  await write('rates-by-hour.csv', formatCsv(hourRateTable, rates.byHour));
  await write('rates-by-day.csv', formatCsv(dayRateTable, rates.byDay));
  await write('bouts.csv', formatCsv(boutTable, rates.bouts));
  await write('rates.json', json);
  io.out(io.json ? json.trimEnd() : formatRates(rates, excluded.source, describeClock(input, options.utcOffset)));
  return EXIT.done;
}
