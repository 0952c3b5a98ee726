import type { SparseRows } from './logistic-fit.js';

type Growing = Float64Array | Uint32Array | Uint16Array;

/** Gathers the rows of a regression in typed arrays: a study of a million calls has tens of millions of entries per bird. */
export class RowBuilder {
  private rowCount = 0;
  private entryCount = 0;
  private start = new Uint32Array(4097);
  private outcome = new Float64Array(4096);
  private offset = new Float64Array(4096);
  private cluster = new Uint32Array(4096);
  private index = new Uint16Array(1 << 16);
  private value = new Float64Array(1 << 16);

  /** Adds an entry to the row that is being made; entries ascend, zeros are not kept. */
  put(index: number, value: number): void {
    if (value === 0) return;
    if (this.entryCount === this.index.length) {
      const entries = Math.ceil(1.5 * this.index.length);
      this.index = grow(this.index, entries);
      this.value = grow(this.value, entries);
    }
    this.index[this.entryCount] = index;
    this.value[this.entryCount++] = value;
  }

  /** Ends the row that is being made. */
  finishRow(outcome: number, offset: number, cluster: number): void {
    if (this.rowCount === this.outcome.length) this.growRows();
    this.outcome[this.rowCount] = outcome;
    this.offset[this.rowCount] = offset;
    this.cluster[this.rowCount] = cluster;
    this.start[++this.rowCount] = this.entryCount;
  }

  finish(columns: number): SparseRows {
    const { rowCount, entryCount } = this;
    return {
      columns, start: this.start.subarray(0, rowCount + 1), index: this.index.subarray(0, entryCount), value: this.value.subarray(0, entryCount),
      outcome: this.outcome.subarray(0, rowCount), offset: this.offset.subarray(0, rowCount), cluster: this.cluster.subarray(0, rowCount),
    };
  }

  private growRows(): void {
    const rows = 2 * this.outcome.length;
    this.outcome = grow(this.outcome, rows);
    this.offset = grow(this.offset, rows);
    this.cluster = grow(this.cluster, rows);
    this.start = grow(this.start, rows + 1);
  }
}

function grow<T extends Growing>(array: T, length: number): T {
  const more = new (array.constructor as new (length: number) => T)(length);
  more.set(array);
  return more;
}
