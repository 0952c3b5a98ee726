import { join } from 'node:path';
import { formatRates, ratesToJson } from '../../analysis/rates/format-rates.js';
import { measureRates } from '../../analysis/rates/measure-rates.js';
import { writeFileAtomic } from '../../node/write-files.js';
import { boutTable, dayRateTable, hourRateTable, rateTable } from '../../table/analysis-tables.js';
import { formatCsv } from '../../table/csv-table.js';
import { formatCsvwMetadata } from '../../table/csvw-metadata.js';
import { formatDataPackage } from '../../table/data-package.js';
import { formatParquet } from '../../table/parquet-table.js';
import type { TableSpec } from '../../table/table-specs.js';
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
  const json = ratesToJson(rates, { study: input.name, excludedBy: excluded.source, excluded: excluded.rows, excludedAsked: excluded.isAsked });
  const write = (name: string, data: string | Uint8Array): Promise<void> => writeFileAtomic(join(folder, name), data, { overwrite: true });
  const add = async <Row>(table: TableSpec<Row>, rows: readonly Row[]): Promise<void> => {
    await write(`${table.name}.csv`, formatCsv(table, rows));
    await write(`${table.name}.parquet`, formatParquet(table, rows));
  };
  await add(rateTable, rates.rates);
  await add(hourRateTable, rates.byHour);
  await add(dayRateTable, rates.byDay);
  await add(boutTable, rates.bouts);
  const tables = [rateTable, hourRateTable, dayRateTable, boutTable];
  await write('rates-datapackage.json', formatDataPackage('rates', tables));
  await write('rates.csv-metadata.json', formatCsvwMetadata('rates', tables));
  await write('rates.json', json);
  io.out(io.json ? json.trimEnd() : formatRates(rates, excluded.source, describeClock(input, options.utcOffset)));
  return EXIT.done;
}
