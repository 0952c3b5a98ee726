import type { ColumnSpec, TableSpec } from './table-specs.js';

/** A table whatever its rows. */
export type AnyTable = Pick<TableSpec<never>, 'name' | 'title' | 'description' | 'primaryKey'> & { columns: readonly unknown[] };

/**
 * Machine-readable description of the tables in a folder: a Frictionless tabular data package whose resources carry a Table Schema
 * with meaning, unit and type of every column. Returns the text of datapackage.json.
 * @example formatDataPackage('my study', allTables)
 */
export function formatDataPackage(title: string, tables: readonly AnyTable[]): string {
  const content = {
    profile: 'tabular-data-package',
    name: toPackageName(title),
    title,
    resources: tables.map((t) => describeTable(t as unknown as TableSpec<Record<string, unknown>>)),
  };
  return `${JSON.stringify(content, null, 2)}\n`;
}

/** Names of the columns that tell rows apart; undefined where one may be empty, for both descriptions ask that a key never is. */
export function findPrimaryKey(table: TableSpec<Record<string, unknown>>): string[] | undefined {
  const isFilled = table.primaryKey?.every((name) => table.columns.find((c) => c.name === name)?.isOptional !== true);
  return isFilled ? [...table.primaryKey!] : undefined;
}

function describeTable(table: TableSpec<Record<string, unknown>>): object {
  const primaryKey = findPrimaryKey(table);
  return {
    name: table.name,
    title: table.title,
    description: table.description,
    path: `${table.name}.csv`,
    profile: 'tabular-data-resource',
    format: 'csv',
    mediatype: 'text/csv',
    encoding: 'utf-8',
    dialect: { delimiter: ',', lineTerminator: '\n', quoteChar: '"', doubleQuote: true, header: true },
    schema: {
      fields: table.columns.map(describeColumn),
      missingValues: [''],
      ...(primaryKey ? { primaryKey } : {}),
    },
  };
}

function describeColumn(column: ColumnSpec<Record<string, unknown>>): object {
  const constraints = {
    ...(column.isOptional ? {} : { required: true }),
    ...(column.minimum !== undefined ? { minimum: column.minimum } : {}),
    ...(column.maximum !== undefined ? { maximum: column.maximum } : {}),
    ...(column.values ? { enum: column.values.filter((v) => v !== '') } : {}),
  };
  return {
    name: column.name,
    type: column.type,
    description: column.description,
    ...(column.unit ? { unit: column.unit } : {}),
    ...(Object.keys(constraints).length > 0 ? { constraints } : {}),
  };
}

/** A package name holds lower-case letters, digits and . _ - only. */
function toPackageName(title: string): string {
  return title.toLowerCase().normalize('NFKD').replace(/[^a-z0-9._-]+/g, '-').replace(/^-+|-+$/g, '') || 'study';
}
