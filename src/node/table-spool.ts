import { closeSync, openSync, readSync, unlinkSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import type { RowSink } from '../pipeline/attribute-study.js';
import type { CallRow, SoundRow } from '../schema/rows.js';
import { formatCsvHeader, formatCsvRows } from '../table/csv-table.js';
import { ParquetStream } from '../table/parquet-table.js';
import { callTable, soundTable, type TableSpec } from '../table/table-specs.js';
import { markFinished, markUnfinished } from './unfinished-files.js';
import { describeWriteError, nameTemporary, sweepUnfinished } from './write-files.js';

/** How many calls a caller has, and how many of them are right by their probabilities. */
export interface CallerCount { calls: number; expected: number }

/** The tables that grow with the length of a study, as files that are written while it is decided: they are never in memory as a whole. */
export class TableSpool implements RowSink {
  /** By the name in the table, 'none' for callers without a tag. */
  readonly callers = new Map<string, CallerCount>();
  private readonly calls: SpooledTable<CallRow>;
  private readonly sounds: SpooledTable<SoundRow>;

  private constructor(folder: string) {
    this.calls = new SpooledTable(folder, callTable);
    this.sounds = new SpooledTable(folder, soundTable);
  }

  /** Begins files in a folder, and removes those that a killed run has left there. Throws VolaryError 'unreadable'. */
  static async open(folder: string): Promise<TableSpool> {
    const names = [callTable, soundTable].flatMap((t) => [`${t.name}.csv`, `${t.name}.parquet`]);
    // A folder that cannot be read is told of when files are made in it.
    await sweepUnfinished(folder, names).catch(() => undefined);
    return new TableSpool(folder);
  }

  addCalls(rows: readonly CallRow[]): void {
    for (const { bird, probability } of rows) {
      const sum = this.callers.get(bird) ?? { calls: 0, expected: 0 };
      sum.calls++;
      sum.expected += probability;
      this.callers.set(bird, sum);
    }
    this.calls.add(rows);
  }

  addSounds(rows: readonly SoundRow[]): void {
    this.sounds.add(rows);
  }

  /** Ends the tables. @returns their content by the names of their files, each to be read once before `close` */
  finish(): Record<string, AsyncIterable<Uint8Array>> {
    return { ...this.calls.finish(), ...this.sounds.finish() };
  }

  /** Removes the files. */
  close(): void {
    this.calls.close();
    this.sounds.close();
  }
}

/** One table, as CSV and as Parquet. */
class SpooledTable<Row> {
  private readonly csv: SpoolFile;
  private readonly parquet: SpoolFile;
  private readonly stream: ParquetStream<Row>;

  constructor(folder: string, private readonly table: TableSpec<Row>) {
    this.csv = new SpoolFile(folder, `${table.name}.csv`);
    this.parquet = new SpoolFile(folder, `${table.name}.parquet`);
    this.stream = new ParquetStream(table);
    this.csv.append(formatCsvHeader(table));
  }

  add(rows: readonly Row[]): void {
    this.csv.append(formatCsvRows(this.table, rows));
    this.parquet.append(this.stream.add(rows));
  }

  finish(): Record<string, AsyncIterable<Uint8Array>> {
    this.parquet.append(this.stream.finish());
    return { [this.csv.name]: this.csv.read(), [this.parquet.name]: this.parquet.read() };
  }

  close(): void {
    this.csv.close();
    this.parquet.close();
  }
}

const PIECE_BYTES = 262144;

/** A file that stays open, so that it is whole whatever another run does to its folder. */
class SpoolFile {
  private readonly path: string;
  private readonly handle: number;
  private isOpen = true;

  constructor(private readonly folder: string, readonly name: string) {
    this.path = nameTemporary(join(folder, name));
    markUnfinished(this.path);
    this.handle = this.attempt(() => openSync(this.path, 'wx+'));
  }

  append(data: string | Uint8Array): void {
    this.attempt(() => writeFileSync(this.handle, data));
  }

  /** Piece by piece. No stream of Node, which closes its file when its reader leaves. */
  async *read(): AsyncGenerator<Uint8Array> {
    for (let at = 0; ;) {
      const piece = new Uint8Array(PIECE_BYTES), count = this.attempt(() => readSync(this.handle, piece, 0, PIECE_BYTES, at));
      if (count === 0) return;
      yield piece.subarray(0, count);
      at += count;
    }
  }

  close(): void {
    if (!this.isOpen) return;
    this.isOpen = false;
    closeSync(this.handle);
    // It may be gone with its folder.
    try { unlinkSync(this.path); } catch { /* nothing is left to remove */ }
    markFinished(this.path);
  }

  private attempt<T>(work: () => T): T {
    try {
      return work();
    } catch (error) {
      throw describeWriteError(join(this.folder, this.name), error);
    }
  }
}
