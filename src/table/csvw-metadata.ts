import { findPrimaryKey } from './data-package.js';
import type { AnyTable } from './data-package.js';
import type { ColumnSpec, TableSpec } from './table-specs.js';

type Column = ColumnSpec<Record<string, unknown>>;

/**
 * The same description of tables as formatDataPackage gives, in the W3C's words: a table group after 'Metadata Vocabulary for Tabular Data' (Recommendation of
 * 2015-12-17). Returns the text of csv-metadata.json, or of NAME.csv-metadata.json, the places where 'Model for Tabular Data' (section 5.3) looks for it.
 * @example formatCsvwMetadata('my study', allTables)
 */
export function formatCsvwMetadata(title: string, tables: readonly AnyTable[]): string {
  const content = {
    '@context': ['http://www.w3.org/ns/csvw', { '@language': 'en' }],
    'dc:title': title,
    // Fields are taken as they stand. A bird may be called '#3', so that the usual sign of a comment will not do; this one begins no line.
    dialect: { encoding: 'utf-8', header: true, delimiter: ',', quoteChar: '"', doubleQuote: true, lineTerminators: ['\n'], trim: false, commentPrefix: '\u001f' },
    tables: tables.map((t) => describeTable(t as unknown as TableSpec<Record<string, unknown>>)),
  };
  return `${JSON.stringify(content, null, 2)}\n`;
}

function describeTable(table: TableSpec<Record<string, unknown>>): object {
  const primaryKey = findPrimaryKey(table);
  return {
    url: `${table.name}.csv`,
    'dc:title': table.title,
    'dc:description': table.description,
    tableSchema: { columns: table.columns.map(describeColumn), ...(primaryKey ? { primaryKey } : {}) },
  };
}

function describeColumn(column: Column): object {
  return {
    name: column.name,
    titles: column.name,
    'dc:description': column.description,
    ...(column.unit ? { 'schema:unitText': column.unit } : {}),
    datatype: describeDatatype(column),
    ...(column.isOptional ? {} : { required: true }),
  };
}

/** Numbers are written without an exponent, so they are decimals, which keep every digit; times always end with Z. */
function describeDatatype(column: Column): unknown {
  const base = ({ string: 'string', integer: 'integer', number: 'decimal', datetime: 'dateTimeStamp' } as const)[column.type];
  // An empty field is null and is not held against the format.
  if (column.values) return { base, format: `^(${column.values.filter((v) => v !== '').map(escapePattern).join('|')})$` };
  if (column.minimum === undefined && column.maximum === undefined) return base;
  return { base, ...(column.minimum !== undefined ? { minimum: column.minimum } : {}), ...(column.maximum !== undefined ? { maximum: column.maximum } : {}) };
}

function escapePattern(text: string): string {
  return text.replace(/[\\^$.*+?()[\]{}|/]/g, '\\$&');
}
