import { parquetReadObjects } from 'hyparquet';
import { ByteWriter, ParquetWriter, schemaFromColumnData } from 'hyparquet-writer';
import type { ColumnSource } from 'hyparquet-writer';
import { roundToColumn } from './csv-table.js';
import type { ColumnSpec, TableSpec } from './table-specs.js';

/**
 * The bytes of a table as Parquet: the same columns and values as the CSV, missing values as nulls, the same bytes everywhere.
 * @example await writeFileAtomic('calls.parquet', formatParquet(callTable, rows))
 */
export function formatParquet<Row>(table: TableSpec<Row>, rows: readonly Row[]): Uint8Array {
  const stream = new ParquetStream(table);
  return joinBytes([stream.add(rows), stream.finish()]);
}

/** Rows of the first group of a file, and of the others: a group is held in memory until it is whole. */
const FIRST_GROUP_ROWS = 1000;
const GROUP_ROWS = 20_000;

/** A table as Parquet piece by piece: the same bytes however its rows are divided. */
export class ParquetStream<Row> {
  private readonly bytes = new ByteWriter();
  private readonly writer: ParquetWriter;
  private waiting: Row[] = [];
  private groupRows = FIRST_GROUP_ROWS;

  constructor(private readonly table: TableSpec<Row>) {
    const schema = schemaFromColumnData({ columnData: table.columns.map((c) => buildColumn(c, [])) });
    this.writer = new ParquetWriter({ writer: this.bytes, schema, kvMetadata: [{ key: 'table', value: table.name }] });
  }

  /** Takes rows. @returns bytes to write behind those before, perhaps none */
  add(rows: readonly Row[]): Uint8Array {
    for (const row of rows) {
      this.waiting.push(row);
      if (this.waiting.length === this.groupRows) this.writeGroup();
    }
    return this.takeBytes();
  }

  /** Ends the table. @returns its last bytes */
  finish(): Uint8Array {
    this.writeGroup();
    this.writer.finish();
    return this.takeBytes();
  }

  private writeGroup(): void {
    const { waiting } = this;
    if (waiting.length === 0) return;
    this.writer.write({ columnData: this.table.columns.map((c) => buildColumn(c, waiting)), rowGroupSize: waiting.length });
    this.waiting = [];
    this.groupRows = GROUP_ROWS;
  }

  private takeBytes(): Uint8Array {
    const out = this.bytes.getBytes().slice();
    this.bytes.index = 0;
    return out;
  }
}

function joinBytes(pieces: readonly Uint8Array[]): Uint8Array {
  const out = new Uint8Array(pieces.reduce((n, p) => n + p.length, 0));
  let at = 0;
  for (const piece of pieces) { out.set(piece, at); at += piece.length; }
  return out;
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
