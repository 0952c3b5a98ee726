import { stat } from 'node:fs/promises';
import { dirname, join, resolve } from 'node:path';
import { DEFAULT_DAYS_AFTER, deriveExclusions } from '../../analysis/exclusions/derive-exclusions.js';
import type { DaysAfter } from '../../analysis/exclusions/derive-exclusions.js';
import { listKnownBirds, refuseUnknownBirds } from '../../analysis/exclusions/known-birds.js';
import { listBirds } from '../../analysis/rates/measure-rates.js';
import type { ResultTables } from '../../analysis/rates/measure-rates.js';
import { readRunFile } from '../../node/run-record.js';
import { findStudyPath } from '../../node/study-path.js';
import type { ExclusionRow, HandlingRow } from '../../schema/analysis-rows.js';
import { quoteName, VolaryError } from '../../schema/errors.js';
import type { CallRow } from '../../schema/rows.js';
import { parseManifest } from '../../study/manifest.js';
import { exclusionTable } from '../../table/analysis-tables.js';
import { parseCsv } from '../../table/csv-table.js';
import { readHandling } from '../../table/handling.js';
import { soundTable, trackTable } from '../../table/table-specs.js';
import type { TableSpec } from '../../table/table-specs.js';
import { formatUtc } from '../../table/utc-time.js';
import type { CommandIo } from '../io.js';
import { readCalls, readTextFile } from './read-result.js';

export interface AnalysisOptions {
  handling?: string;
  /** A file; false = leave out nothing. */
  exclude?: string | boolean;
  daysAfter?: Partial<DaysAfter>;
  start?: string;
  utcOffset: number;
  threshold: number;
  boutGap: number;
  boutSyllables: number;
}

export interface AnalysisInput extends ResultTables {
  name: string;
  startUtc?: string;
  birds: string[];
  endSec: number;
  handling: HandlingRow[];
  /** Where the handling log was found. */
  handlingFile?: string;
}

/** Reads the tables of a result folder and the handling log that goes with them. Throws VolaryError where one is missing or damaged. */
export async function readAnalysis(io: CommandIo, command: string, folder: string, options: AnalysisOptions): Promise<AnalysisInput> {
  const calls = await readCalls(folder);
  const hours = await readTable(folder, trackTable, true);
  const sounds = await readTable(folder, soundTable, false);
  const record = await readRecord(folder);
  const startUtc = options.start ?? findStart(calls) ?? record.start;
  const found = await findHandling(folder, record, options.handling);
  const handling = found === undefined ? [] : readHandling(await readTextFile(found, 'give a CSV file with the columns bird, time and what'), found, startUtc);
  const birds = listBirds(hours);
  const strangers = [...new Set(handling.map((h) => h.bird))].filter((bird) => bird !== '' && !birds.includes(bird));
  if (strangers.length) io.note(`volary ${command}: ${quoteName(found!)} names ${strangers.join(', ')}, who ${strangers.length > 1 ? 'have' : 'has'} no track: same names in both tables?`);
  const endSec = record.durationSec ?? hours.reduce((end, h) => Math.max(end, h.startSec + 3600), 0);
  return { name: record.name ?? 'Study', calls, hours, sounds, durationSec: record.durationSec, startUtc, birds, endSec, handling, ...(found === undefined ? {} : { handlingFile: found }) };
}

export interface FoundExclusions {
  rows: ExclusionRow[];
  source: string;
  /** False where the command took what the folder holds. */
  isAsked: boolean;
}

/**
 * The windows that an analysis leaves out: a table that the user names, else those of settings that the user gives, else DIR/excluded.csv,
 * else the handling log with the usual days. Says where they come from, and whether the user asked for them.
 * @throws VolaryError 'bad-table' on a window that ends before it starts or of a bird that no table names.
 */
export async function findExclusions(folder: string, input: AnalysisInput, options: AnalysisOptions): Promise<FoundExclusions> {
  const usual = { ...DEFAULT_DAYS_AFTER, ...options.daysAfter };
  if (options.exclude === false) return { rows: [], source: 'nothing is excluded, as asked', isAsked: true };
  const named = typeof options.exclude === 'string' ? options.exclude : join(folder, 'excluded.csv');
  if (typeof options.exclude === 'string' || (!options.daysAfter && await isFile(named))) {
    const rows = parseCsv(exclusionTable, await readTextFile(named, 'give a CSV file with the columns bird, start_s, end_s and reason'), named);
    const wrong = rows.findIndex((r) => r.endSec < r.startSec);
    if (wrong >= 0) throw new VolaryError('bad-table', { where: `${quoteName(named)} entry ${wrong + 1}`, what: 'ends before it starts', got: `${rows[wrong].startSec} to ${rows[wrong].endSec}` });
    refuseUnknownBirds(rows, listKnownBirds(input.hours, input.calls), quoteName(named));
    return { rows, source: `by ${typeof options.exclude === 'string' ? options.exclude : 'excluded.csv'}`, isAsked: typeof options.exclude === 'string' };
  }
  if (input.handlingFile === undefined) return { rows: [], source: 'no excluded.csv and no handling log: nothing is known of days after handling', isAsked: options.daysAfter !== undefined };
  const days = `fitted ${usual.fitted} d, battery ${usual.battery} d, other ${usual.other} d${options.daysAfter ? '' : '; common practice'}`;
  return { rows: deriveExclusions(input.handling, input.birds, input.endSec, usual), source: `by the handling log: ${days}`, isAsked: options.daysAfter !== undefined };
}

/** What hours of the day mean in this study. */
export function describeClock(input: Pick<AnalysisInput, 'startUtc'>, utcOffsetMin: number): string {
  if (input.startUtc === undefined) return "Hours count from the study's start, whose time of day is not known.";
  const sign = utcOffsetMin < 0 ? '-' : '+';
  const size = Math.abs(utcOffsetMin);
  return utcOffsetMin === 0 ? 'Hours of the day are in UTC.' : `Hours of the day are at UTC${sign}${String(Math.floor(size / 60)).padStart(2, '0')}:${String(size % 60).padStart(2, '0')}.`;
}

/** The first call with a time tells when the study started. */
function findStart(calls: readonly CallRow[]): string | undefined {
  const call = calls.find((c) => c.onsetUtc !== '');
  return call && (formatUtc(call.onsetUtc, -call.onsetSec) || undefined);
}

async function readTable<Row>(folder: string, table: TableSpec<Row>, isNeeded: boolean): Promise<Row[]> {
  const path = join(folder, `${table.name}.csv`);
  if (!isNeeded && !(await isFile(path))) return [];
  return parseCsv(table, await readTextFile(path, "run 'volary attribute' with --out and this folder first"), path);
}

interface FoundRecord { name?: string; durationSec?: number; study?: string; start?: string; handling?: string }

/** What run.json and the manifest that it names say; both may be missing. */
async function readRecord(folder: string): Promise<FoundRecord> {
  const value = await readRunFile(folder);
  if (!value) return {};
  const record: FoundRecord = {};
  if (typeof value.name === 'string') record.name = value.name;
  if (typeof value.durationSec === 'number' && value.durationSec > 0) record.durationSec = value.durationSec;
  record.study = await findStudyPath(folder, value.study);
  // The tables may have travelled without the study.
  if (record.study === undefined || !(await isFile(record.study))) return record;
  const manifest = parseManifest(await readTextFile(record.study, ''), record.study);
  return { ...record, start: manifest.start, handling: manifest.handling };
}

async function findHandling(folder: string, record: FoundRecord, named: string | undefined): Promise<string | undefined> {
  if (named !== undefined) return named;
  const beside = record.study === undefined ? [] : [...(record.handling === undefined ? [] : [resolve(dirname(record.study), record.handling)]), join(dirname(record.study), 'handling.csv')];
  for (const path of [join(folder, 'handling.csv'), ...beside]) if (await isFile(path)) return path;
  if (record.handling !== undefined) throw new VolaryError('missing', { where: quoteName(record.handling), what: 'the study names this handling log, which is not there', mend: 'give it with --handling' });
  return undefined;
}

async function isFile(path: string): Promise<boolean> {
  return (await stat(path).catch(() => undefined))?.isFile() === true;
}
