// What a forest is fitted to, written to files as it comes: there are gigabytes of it.
import { closeSync, mkdtempSync, openSync, rmSync, writeFileSync, writeSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

const BLOCK_ROWS = 4096;

export class RowTable {
  /** @param width numbers in a row */
  constructor(width) {
    this.width = width;
    this.folder = mkdtempSync(join(tmpdir(), 'forest-'));
    this.file = openSync(join(this.folder, 'rows.f32'), 'w');
    this.block = new Float32Array(BLOCK_ROWS * width);
    this.labels = [];
    this.weights = [];
    this.folds = [];
  }

  get count() {
    return this.labels.length;
  }

  /** @param label 0 or 1 @param weight what the row counts @param fold that it is left out of */
  add(row, label, weight, fold) {
    this.block.set(row, (this.count % BLOCK_ROWS) * this.width);
    this.labels.push(label);
    this.weights.push(weight);
    this.folds.push(fold);
    if (this.count % BLOCK_ROWS === 0) this.#writeBlock(BLOCK_ROWS);
  }

  /** Writes what is left; nothing can be added afterwards. */
  finish() {
    this.#writeBlock(this.count % BLOCK_ROWS);
    closeSync(this.file);
    writeFileSync(join(this.folder, 'labels.u8'), Uint8Array.from(this.labels));
    writeFileSync(join(this.folder, 'weights.f32'), new Uint8Array(Float32Array.from(this.weights).buffer));
    writeFileSync(join(this.folder, 'folds.u8'), Uint8Array.from(this.folds));
  }

  remove() {
    rmSync(this.folder, { recursive: true, force: true });
  }

  #writeBlock(rows) {
    writeSync(this.file, new Uint8Array(this.block.buffer, 0, 4 * rows * this.width));
  }
}
