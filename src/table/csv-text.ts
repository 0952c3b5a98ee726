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
  if (text.includes('\0')) throw new VolaryError(code, { where: quoteName(name), what: 'is not a text file', expected: `a table with the columns ${needed.join(', ')}` });
  const parsed = Papa.parse<string[]>(text.replace(/^\uFEFF/, ''), { delimiter: findDelimiter(text), skipEmptyLines: false });
  const broken = parsed.errors.find((e) => e.type === 'Quotes');
  if (broken) throw new VolaryError(code, { where: `${quoteName(name)} row ${(broken.row ?? 0) + 1}`, what: 'a quotation mark is not closed or stands inside a field', expected: 'fields in "..." with quotes doubled' });
  const all = parsed.data.map((fields, i) => ({ row: i + 1, fields: fields.map((f) => f.trim()) })).filter((r) => r.fields.some((f) => f !== ''));
  const header = all.shift();
  if (!header) throw new VolaryError(code, { where: quoteName(name), what: 'the file is empty', expected: `a header with ${needed.join(', ')}` });
  const columns = header.fields;
  while (columns.length > 0 && columns[columns.length - 1] === '') columns.pop();
  for (const column of needed) {
    if (!columns.includes(column)) throw new VolaryError(code, { where: `${quoteName(name)} row ${header.row}`, what: `column ${column} is missing`, got: columns.map((c) => quoteName(c)).join(', ').slice(0, 200), expected: needed.join(', ') });
  }
  const twice = columns.find((c, i) => columns.indexOf(c) !== i);
  if (twice !== undefined) throw new VolaryError(code, { where: `${quoteName(name)} row ${header.row}`, what: `column ${quoteName(twice)} is there twice` });
  const rows = all.map(({ row, fields }) => {
    const extra = fields.slice(columns.length).some((f) => f !== '');
    if (extra || fields.length < columns.length) {
      throw new VolaryError(code, { where: `${quoteName(name)} row ${row}`, what: 'wrong number of fields', got: String(fields.length), expected: `${columns.length} as in the header` });
    }
    return { row, values: Object.fromEntries(columns.map((c, i) => [c, fields[i]])) };
  });
  return { columns, rows };
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
