import { stat } from 'node:fs/promises';
import { join } from 'node:path';
import { networkTables } from '../../analysis/network/index.js';
import type { ReportAnalyses, ReportDecision, ReportHabituation, ReportNetwork, ReportRates } from '../../report/index.js';
import type { ExclusionRow } from '../../schema/analysis-rows.js';
import { quoteName, VolaryError } from '../../schema/errors.js';
import { exclusionTable, habituationTable, hourRateTable, rateTable } from '../../table/analysis-tables.js';
import { parseCsv } from '../../table/csv-table.js';
import type { TableSpec } from '../../table/table-specs.js';
import type { CommandIo } from '../io.js';
import { describeClock } from './read-analysis.js';
import { compareWithExcluded, dropUnknownBirds, readWindows } from './read-report-windows.js';
import { readTextFile } from './read-result.js';

const [edgeTable, , latencyTable, , dayTable, turnTable] = networkTables;

type Json = Record<string, unknown>;

/**
 * What the analyses have left in a result folder. Tables older than calls.csv tell of other calls, and tables that left out other time than excluded.csv
 * lists now of another selection: they are left out, and that is said.
 * @param birds whom the study's tables name
 * @throws VolaryError 'bad-table' on a damaged table.
 */
export async function readReportTables(io: CommandIo, folder: string, birds: readonly string[]): Promise<ReportAnalyses> {
  const found: ReportAnalyses = {};
  // Windows are about time, not about calls: they stay true when calls are found anew.
  if (await findTime(join(folder, 'excluded.csv')) !== undefined) found.excluded = dropUnknownBirds(io, await readRows(folder, exclusionTable), birds);
  if (await isFresh(io, folder, 'rates')) {
    const windows = await compareWindows(io, folder, 'rates', found.excluded);
    if (windows !== 'stale') found.rates = { ...await readRates(folder), ...(windows === 'own' ? { hasOwnWindows: true } : {}) };
  }
  if (await isFresh(io, folder, 'habituation')) found.habituation = await readHabituation(folder);
  if (await isFresh(io, folder, 'network') && await compareWindows(io, folder, 'network', found.excluded) !== 'stale') found.network = await readNetwork(folder);
  return found;
}

async function readRates(folder: string): Promise<ReportRates> {
  const record = await readRecord(folder, 'rates');
  const settings = (record.settings ?? {}) as { startUtc?: unknown; utcOffsetMin?: unknown };
  const startUtc = typeof settings.startUtc === 'string' ? settings.startUtc : undefined;
  return {
    ...(typeof settings.utcOffsetMin === 'number' ? { clock: describeClock({ startUtc }, settings.utcOffsetMin), isClockKnown: startUtc !== undefined } : {}),
    rates: await readRows(folder, rateTable, 'rates'), byHour: await readRows(folder, hourRateTable, 'rates'), leftOut: pickNumbers(record.leftOut),
    ...(typeof record.excludedBy === 'string' ? { excludedBy: record.excludedBy } : {}), ...(typeof record.dispersion === 'string' ? { dispersion: record.dispersion } : {}),
  };
}

async function readHabituation(folder: string): Promise<ReportHabituation> {
  const record = await readRecord(folder, 'habituation');
  const { margin } = pickNumbers(record.settings);
  const decisions = (Array.isArray(record.decisions) ? record.decisions : []) as ReportDecision[];
  const isWhole = decisions.every((d) => typeof d?.bird === 'string' && ['fitted', 'battery', 'other'].includes(d.after) && typeof d.testedDays === 'number' && typeof d.words === 'string');
  if (!isWhole) throw new VolaryError('bad-table', { where: quoteName(join(folder, 'habituation.json')), what: 'decisions are not as this version writes them', mend: "run 'volary habituation' again" });
  return { rows: await readRows(folder, habituationTable, 'habituation'), decisions, ...(margin === undefined ? {} : { margin }) };
}

async function readNetwork(folder: string): Promise<ReportNetwork> {
  const record = await readRecord(folder, 'network');
  const read = <Row>(table: TableSpec<Row>): Promise<Row[]> => readRows(folder, table, 'network');
  return {
    edges: await read(edgeTable), latencies: await read(latencyTable), turns: await read(turnTable), days: await read(dayTable),
    settings: pickNumbers(record.settings), counts: pickNumbers(record.counts),
  };
}

async function isFresh(io: CommandIo, folder: string, name: string): Promise<boolean> {
  const [made, called] = await Promise.all([findTime(join(folder, `${name}.csv`)), findTime(join(folder, 'calls.csv'))]);
  if (made === undefined) return false;
  if (called === undefined || made >= called) return true;
  io.note(`volary report: ${name}.csv is older than calls.csv and is left out; run 'volary ${name}' again`);
  return false;
}

/** How a table stands to what excluded.csv lists; where there is no such file, nothing is said of it either. */
async function compareWindows(io: CommandIo, folder: string, name: 'rates' | 'network', excluded: readonly ExclusionRow[] | undefined): Promise<'same' | 'own' | 'stale'> {
  if (!excluded) return 'same';
  const record = await readRecord(folder, name);
  const [made, listed] = await Promise.all([findTime(join(folder, `${name}.csv`)), findTime(join(folder, 'excluded.csv'))]);
  const windows = readWindows(name === 'rates' ? record.excluded : record.excludedWindows);
  const found = compareWithExcluded({ ...(windows ? { windows } : {}), isAsked: record.excludedAsked === true, isOlder: made! < listed! }, excluded);
  if (found === 'stale') io.note(`volary report: ${name}.csv leaves out other time than excluded.csv lists now and is left out; run 'volary ${name}' again`);
  return found;
}

async function findTime(path: string): Promise<number | undefined> {
  const found = await stat(path).catch(() => undefined);
  return found?.isFile() ? found.mtimeMs : undefined;
}

/** A table that may be missing is empty; a damaged one, or one of an earlier version, is an error that names the command which writes it anew. */
async function readRows<Row>(folder: string, table: TableSpec<Row>, command?: string): Promise<Row[]> {
  const path = join(folder, `${table.name}.csv`);
  if (await findTime(path) === undefined) return [];
  const text = await readTextFile(path, '');
  try {
    return parseCsv(table, text, path);
  } catch (error) {
    if (!(error instanceof VolaryError) || command === undefined) throw error;
    const { where, what } = error.detail;
    throw new VolaryError(error.code, { where, what, expected: 'a table as this version writes it', mend: `run 'volary ${command}' again` }, { cause: error });
  }
}

/** The record beside a table; without it the table is told alone. */
async function readRecord(folder: string, name: string): Promise<Json> {
  const path = join(folder, `${name}.json`);
  if (await findTime(path) === undefined) return {};
  try {
    const value: unknown = JSON.parse(await readTextFile(path, ''));
    return value !== null && typeof value === 'object' ? value as Json : {};
  } catch (cause) {
    if (cause instanceof VolaryError) throw cause;
    throw new VolaryError('bad-table', { where: quoteName(path), what: 'is not JSON', got: (cause as Error).message, mend: `run 'volary ${name}' again` }, { cause });
  }
}

function pickNumbers(value: unknown): Record<string, number> {
  const entries = value !== null && typeof value === 'object' ? Object.entries(value) : [];
  return Object.fromEntries(entries.filter((e): e is [string, number] => typeof e[1] === 'number' && Number.isFinite(e[1])));
}
