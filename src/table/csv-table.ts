import { quoteName, VolaryError } from '../schema/errors.js';
import { parseDecimal, quoteCsvField, walkCsv } from './csv-text.js';
import type { ColumnSpec, TableSpec } from './table-specs.js';

/**
 * The CSV text of a table: header, fixed decimals, '.' as decimal mark, LF line ends, the same bytes everywhere.
 * A number that is not finite is written as an empty field (missing).
 * @example formatCsv(callTable, rows)
 */
export function formatCsv<Row>(table: TableSpec<Row>, rows: readonly Row[]): string {
  return formatCsvHeader(table) + formatCsvRows(table, rows);
}

/** The first line of a table's CSV. */
export function formatCsvHeader<Row>(table: TableSpec<Row>): string {
  return `${table.columns.map((c) => c.name).join(',')}\n`;
}

/** The lines of some rows, to be written behind those of the rows before. */
export function formatCsvRows<Row>(table: TableSpec<Row>, rows: readonly Row[]): string {
  return rows.map((row) => `${table.columns.map((c) => formatField(c, row[c.key])).join(',')}\n`).join('');
}

/**
 * Reads a table as formatCsv writes it. Further columns are ignored; an empty number is NaN.
 * @throws VolaryError 'bad-table' naming row, column, what was found and what was expected.
 */
export function parseCsv<Row>(table: TableSpec<Row>, text: string, name: string): Row[] {
  const rows: Row[] = [];
  let at: number[] | undefined;
  // Names come again and again: each is kept once.
  const known = new Map<string, string>();
  walkCsv(text, name, 'bad-table', table.columns.map((c) => c.name), (row, fields, names) => {
    at ??= table.columns.map((c) => names.indexOf(c.name));
    const values: Record<string, string | number> = {};
    for (let k = 0; k < at.length; k++) {
      const column = table.columns[k];
      const value = parseField(column, fields[at[k]], () => `${quoteName(name)} row ${row} column ${column.name}`);
      values[column.key] = typeof value === 'string' && column.type === 'string' ? keepOnce(known, value) : value;
    }
    rows.push(values as Row);
  });
  return rows;
}

const MOST_KNOWN = 10_000;

function keepOnce(known: Map<string, string>, text: string): string {
  const found = known.get(text);
  if (found !== undefined) return found;
  if (known.size < MOST_KNOWN) known.set(text, text);
  return text;
}

/** Rounds a number to the decimals that the column is written with, so that every format holds the same value. */
export function roundToColumn<Row>(column: ColumnSpec<Row>, value: number): number {
  return column.type === 'integer' ? Math.round(value) : Number(formatNumber(value, column.decimals ?? 6));
}

function formatField<Row>(column: ColumnSpec<Row>, value: unknown): string {
  if (column.type === 'string' || column.type === 'datetime') return quoteCsvField(String(value ?? ''));
  const number = Number(value);
  if (!Number.isFinite(number)) return '';
  return formatNumber(number, column.type === 'integer' ? 0 : column.decimals ?? 6);
}

function formatNumber(value: number, decimals: number): string {
  const text = value.toFixed(decimals);
  // A small negative number must not become '-0.00'.
  return /^-0(\.0*)?$/.test(text) ? text.slice(1) : text;
}

function parseField<Row>(column: ColumnSpec<Row>, text: string, where: () => string): string | number {
  const refuse = (expected: string): never => {
    throw new VolaryError('bad-table', { where: where(), what: 'wrong value', got: quoteName(text), expected });
  };
  if (text === '' && !column.isOptional) refuse('a value');
  if (column.type === 'string' || column.type === 'datetime') {
    if (column.values && !column.values.includes(text)) refuse(`one of ${column.values.join(', ')}`);
    return text;
  }
  if (text === '') return NaN;
  const value = parseDecimal(text) ?? refuse('a number with a decimal point');
  if (column.type === 'integer' && !Number.isInteger(value)) refuse('a whole number');
  if (column.minimum !== undefined && value < column.minimum) refuse(`at least ${column.minimum}`);
  if (column.maximum !== undefined && value > column.maximum) refuse(`at most ${column.maximum}`);
  return value;
}
