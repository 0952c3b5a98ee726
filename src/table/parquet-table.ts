import { parquetReadObjects } from 'hyparquet';
import { parquetWriteBuffer } from 'hyparquet-writer';
import type { ColumnSource } from 'hyparquet-writer';
import { roundToColumn } from './csv-table.js';
import type { ColumnSpec, TableSpec } from './table-specs.js';

/**
 * The bytes of a table as Parquet: the same columns and values as the CSV, missing values as nulls, the same bytes everywhere.
 * @example await writeFileAtomic('calls.parquet', formatParquet(callTable, rows))
 */
export function formatParquet<Row>(table: TableSpec<Row>, rows: readonly Row[]): Uint8Array {
  const columnData = table.columns.map((c) => buildColumn(c, rows));
  return new Uint8Array(parquetWriteBuffer({ columnData, kvMetadata: [{ key: 'table', value: table.name }] }));
}

/** Reads back what formatParquet wrote. */
export async function parseParquet<Row>(table: TableSpec<Row>, bytes: Uint8Array): Promise<Row[]> {
  const file = bytes.slice().buffer;
  const objects = await parquetReadObjects({ file });
  return objects.map((o) => Object.fromEntries(table.columns.map((c) => [c.key, o[c.name] ?? (isText(c) ? '' : NaN)])) as Row);
}

function isText<Row>(column: ColumnSpec<Row>): boolean {
  return column.type === 'string' || column.type === 'datetime';
}

function buildColumn<Row>(column: ColumnSpec<Row>, rows: readonly Row[]): ColumnSource {
  const nullable = column.isOptional === true;
  if (isText(column)) {
    return { name: column.name, type: 'STRING', nullable, data: rows.map((r) => (nullable && r[column.key] === '' ? null : String(r[column.key]))) };
  }
  const data = rows.map((r) => {
    const value = Number(r[column.key]);
    return Number.isFinite(value) ? roundToColumn(column, value) : nullable ? null : NaN;
  });
  return { name: column.name, type: column.type === 'integer' ? 'INT32' : 'DOUBLE', nullable, data };
}
