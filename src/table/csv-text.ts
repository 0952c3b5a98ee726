import Papa from 'papaparse';
import { quoteName, VolaryError } from '../schema/errors.js';
import type { ErrorCode } from '../schema/errors.js';

export interface CsvRow {
  /** Number of the row as a spreadsheet counts it: the header is row 1. */
  row: number;
  /** By column, without surrounding blanks. */
  values: Record<string, string>;
}

export interface CsvContent {
  columns: string[];
  rows: CsvRow[];
}

/** Writes one field after RFC 4180: quoted where it holds a comma, a quote or a line end. */
export function quoteCsvField(text: string): string {
  return /[",\r\n]|^\s|\s$/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
}

/**
 * Reads CSV text with a header (comma, semicolon or tab; a byte order mark and empty rows are skipped).
 * @throws VolaryError with `code`, naming row and column.
 */
export function readCsv(text: string, name: string, code: ErrorCode, needed: readonly string[]): CsvContent {
  const rows: CsvRow[] = [];
  const columns = walkCsv(text, name, code, needed, (row, fields, names) => rows.push({ row, values: Object.fromEntries(names.map((c, i) => [c, fields[i]])) }));
  return { columns, rows };
}

/**
 * The same row by row, so that a table of a million rows is never held as text fields.
 * @param onRow told the number of the row, its fields without surrounding blanks, and the names of the columns
 * @returns the names of the columns
 */
export function walkCsv(text: string, name: string, code: ErrorCode, needed: readonly string[], onRow: (row: number, fields: readonly string[], columns: readonly string[]) => void): string[] {
  if (text.includes('\0')) throw new VolaryError(code, { where: quoteName(name), what: 'is not a text file', expected: `a table with the columns ${needed.join(', ')}` });
  let columns: string[] | undefined;
  let row = 0;
  Papa.parse<string[]>(text.replace(/^\uFEFF/, ''), {
    delimiter: findDelimiter(text), skipEmptyLines: false,
    step: ({ data, errors }) => {
      row++;
      if (errors.some((e) => e.type === 'Quotes')) throw new VolaryError(code, { where: `${quoteName(name)} row ${row}`, what: 'a quotation mark is not closed or stands inside a field', expected: 'fields in "..." with quotes doubled' });
      const fields = data.map((f) => f.trim());
      if (fields.every((f) => f === '')) return;
      if (!columns) { columns = readHeader(fields, name, code, needed, row); return; }
      if (fields.length !== columns.length && (fields.length < columns.length || fields.slice(columns.length).some((f) => f !== ''))) {
        throw new VolaryError(code, { where: `${quoteName(name)} row ${row}`, what: 'wrong number of fields', got: String(fields.length), expected: `${columns.length} as in the header` });
      }
      onRow(row, fields, columns);
    },
  });
  if (!columns) throw new VolaryError(code, { where: quoteName(name), what: 'the file is empty', expected: `a header with ${needed.join(', ')}` });
  return columns;
}

function readHeader(columns: string[], name: string, code: ErrorCode, needed: readonly string[], row: number): string[] {
  while (columns.length > 0 && columns[columns.length - 1] === '') columns.pop();
  for (const column of needed) {
    if (!columns.includes(column)) throw new VolaryError(code, { where: `${quoteName(name)} row ${row}`, what: `column ${column} is missing`, got: columns.map((c) => quoteName(c)).join(', ').slice(0, 200), expected: needed.join(', ') });
  }
  const twice = columns.find((c, i) => columns.indexOf(c) !== i);
  if (twice !== undefined) throw new VolaryError(code, { where: `${quoteName(name)} row ${row}`, what: `column ${quoteName(twice)} is there twice` });
  return columns;
}

/** Reads a number with a decimal point; undefined where the text is none. */
export function parseDecimal(text: string): number | undefined {
  if (!/^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$/.test(text)) return undefined;
  const value = Number(text);
  return Number.isFinite(value) ? value : undefined;
}

/** Spreadsheets of many countries write semicolons; the header decides, for data may hold decimal commas. */
function findDelimiter(text: string): string {
  const header = /^\uFEFF?\s*([^\r\n]*)/.exec(text)?.[1] ?? '';
  const count = (mark: string): number => header.split(mark).length;
  return [',', ';', '\t'].reduce((best, mark) => (count(mark) > count(best) ? mark : best));
}
