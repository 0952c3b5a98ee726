import { describe, expect, it } from 'vitest';
import { networkTables } from '../../src/analysis/network/index.js';
import type { RateRow } from '../../src/schema/analysis-rows.js';
import type { CallRow } from '../../src/schema/rows.js';
import { boutTable, dayRateTable, exclusionTable, habituationTable, hourRateTable, rateTable } from '../../src/table/analysis-tables.js';
import { readCsv } from '../../src/table/csv-text.js';
import { formatCsv } from '../../src/table/csv-table.js';
import { formatCsvwMetadata } from '../../src/table/csvw-metadata.js';
import { formatDataPackage } from '../../src/table/data-package.js';
import { regionTable } from '../../src/table/region-table.js';
import { allTables, callTable } from '../../src/table/table-specs.js';

/*
 * Section numbers are those of 'Metadata Vocabulary for Tabular Data' (W3C Recommendation 2015-12-17), with M those of 'Model for Tabular Data
 * and Metadata on the Web' of the same day. The rules are written out here by hand from them.
 */
type Datatype = string | { base: string; format?: string; minimum?: number; maximum?: number };
interface Column { name: string; titles: string; datatype: Datatype; required?: boolean; [common: string]: unknown }
interface Table { url: string; tableSchema: { columns: Column[]; primaryKey?: string[] }; [common: string]: unknown }
interface Group { '@context': unknown; dialect: Record<string, unknown>; tables: Table[]; [common: string]: unknown }

const every = [...allTables, rateTable, hourRateTable, dayRateTable, boutTable, habituationTable, exclusionTable, regionTable, ...networkTables];
const group = JSON.parse(formatCsvwMetadata('Bird room 2', every)) as Group;
const isCommon = (key: string): boolean => /^(dc|schema):[A-Za-z]+$/.test(key);

describe('CSVW description', () => {
  it('is a table group (5.2, 5.3): context of the standard with a language, tables, no word of our own', () => {
    expect(group['@context']).toEqual(['http://www.w3.org/ns/csvw', { '@language': 'en' }]);
    expect(Object.keys(group).filter((k) => !isCommon(k)).sort()).toEqual(['@context', 'dialect', 'tables']);
    expect(group.tables.length).toBe(every.length);
  });

  it('describes the dialect in its own words (5.9), strings and booleans as asked for', () => {
    const known = { commentPrefix: 'string', delimiter: 'string', doubleQuote: 'boolean', encoding: 'string', header: 'boolean', headerRowCount: 'number', lineTerminators: 'object', quoteChar: 'string', skipBlankRows: 'boolean', skipColumns: 'number', skipInitialSpace: 'boolean', skipRows: 'number', trim: 'boolean' };
    for (const [key, value] of Object.entries(group.dialect)) expect([key, typeof value]).toEqual([key, (known as Record<string, string>)[key]]);
  });

  it('names every table once by a relative address (5.4), with a schema (5.5)', () => {
    const urls = group.tables.map((t) => t.url);
    expect(new Set(urls).size).toBe(urls.length);
    for (const table of group.tables) {
      expect(table.url).toMatch(/^[a-z-]+\.csv$/);
      expect(Object.keys(table).filter((k) => !isCommon(k)).sort()).toEqual(['tableSchema', 'url']);
      expect(Object.keys(table.tableSchema).every((k) => ['columns', 'primaryKey'].includes(k))).toBe(true);
    }
  });

  it('names columns as URI templates allow, each once in its table (5.6), with common properties that have a prefix (5.8)', () => {
    for (const { url, tableSchema: { columns } } of group.tables) {
      expect(new Set(columns.map((c) => c.name)).size, url).toBe(columns.length);
      for (const column of columns) {
        expect(column.name, url).toMatch(/^[A-Za-z0-9][A-Za-z0-9_.]*$/);
        expect(column.titles).toBe(column.name);
        expect(Object.keys(column).filter((k) => !isCommon(k) && !['name', 'titles', 'datatype', 'required'].includes(k))).toEqual([]);
      }
    }
  });

  it('uses datatypes of the standard (5.11.1), bounds on numbers and patterns on strings only (5.11.2; M 6.4)', () => {
    for (const column of group.tables.flatMap((t) => t.tableSchema.columns)) {
      const type = typeof column.datatype === 'string' ? { base: column.datatype } : column.datatype;
      expect(['string', 'integer', 'decimal', 'dateTimeStamp']).toContain(type.base);
      if (type.minimum !== undefined || type.maximum !== undefined) expect(['integer', 'decimal']).toContain(type.base);
      if (type.format !== undefined) { expect(type.base).toBe('string'); expect(() => new RegExp(type.format!)).not.toThrow(); }
    }
  });

  it('refers by its key to columns that are there and never empty (5.5)', () => {
    const keyed = group.tables.filter((t) => t.tableSchema.primaryKey);
    expect(keyed.map((t) => t.url)).toContain('calls.csv');
    // The mean of all birds has no bird: such a table has no key.
    expect(keyed.map((t) => t.url)).not.toContain('rates.csv');
    for (const { tableSchema } of keyed) for (const name of tableSchema.primaryKey!) expect(tableSchema.columns.find((c) => c.name === name)?.required).toBe(true);
  });

  it('says the same as the Frictionless description', () => {
    const other = JSON.parse(formatDataPackage('Bird room 2', every)) as { resources: { path: string; schema: { primaryKey?: string[]; fields: { name: string; constraints?: { required?: boolean; minimum?: number } }[] } }[] };
    group.tables.forEach((table, n) => {
      const { path, schema } = other.resources[n];
      expect([table.url, table.tableSchema.primaryKey]).toEqual([path, schema.primaryKey]);
      expect(table.tableSchema.columns.map((c) => [c.name, c.required, typeof c.datatype === 'string' ? undefined : c.datatype.minimum]))
        .toEqual(schema.fields.map((f) => [f.name, f.constraints?.required, f.constraints?.minimum]));
    });
  });
});

/** Errors of a table as a validator would list them (M 6.4 parsing cells; 5.6 and M 6.6 headers and required values). */
function validate(table: Table, text: string): string[] {
  const { columns, rows } = readCsv(text, table.url, 'bad-table', []);
  const errors = columns.join() === table.tableSchema.columns.map((c) => c.titles).join() ? [] : ['header'];
  for (const { row, values } of rows) for (const column of table.tableSchema.columns) {
    const value = values[column.name];
    const type = typeof column.datatype === 'string' ? { base: column.datatype } : column.datatype;
    const lexical = { string: /^[\s\S]*$/, integer: /^[-+]?\d+$/, decimal: /^[-+]?(\d+(\.\d*)?|\.\d+)$/, dateTimeStamp: /^-?\d{4,}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[-+]\d\d:\d\d)$/ }[type.base]!;
    const isWrong = value === '' ? column.required === true
      : !lexical.test(value) || (type.format !== undefined && !new RegExp(type.format).test(value)) || Number(value) < (type.minimum ?? -Infinity) || Number(value) > (type.maximum ?? Infinity);
    if (isWrong) errors.push(`${row} ${column.name}`);
  }
  return errors;
}

describe('a table against its CSVW description', () => {
  const find = (url: string): Table => group.tables.find((t) => t.url === url)!;
  const call: CallRow = { callId: 3, bird: '#3', onsetSec: 1e-7, offsetSec: 1234567.5, onsetUtc: '2031-05-01T06:00:00.000000Z', probability: 0.5, track: '#3', levelDb: -20, snrDb: NaN, peakHz: 3000, overlaps: 0, runnerUp: '', runnerUpProbability: NaN };
  const rate: RateRow = { bird: '', what: 'calls', usableSec: 3600, count: 2, perHour: 2, low: 0.2, high: 7.2, hours: 1, dispersion: NaN, dispersionWithin: NaN, quasiLow: NaN, quasiHigh: NaN };

  it('is right where the table is', () => {
    expect(validate(find('calls.csv'), formatCsv(callTable, [call, { ...call, onsetUtc: '', bird: 'a,"b"' }]))).toEqual([]);
    expect(validate(find('rates.csv'), formatCsv(rateTable, [rate]))).toEqual([]);
  });

  it('no longer is where a value is not', () => {
    expect(validate(find('calls.csv'), formatCsv(callTable, [{ ...call, bird: '', probability: 1.5, onsetUtc: '2031-05-01 06:00' }]))).toEqual(['2 bird', '2 onset_utc', '2 probability']);
    expect(validate(find('rates.csv'), formatCsv(rateTable, [{ ...rate, what: 'song' as never, hours: -1 }]))).toEqual(['2 what', '2 hours']);
  });
});
