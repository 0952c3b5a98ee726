import { closeSync, fsyncSync, ftruncateSync, openSync, readSync, fstatSync, writeSync } from 'node:fs';
import { quoteName, VolaryError } from '../../schema/errors.js';

/**
 * A table that grows line by line. Lines behind the place that the saved state knows of were written by a run that was killed: as the same
 * sound gives the same lines, they are given once more and taken for written.
 */
export class RowLog {
  private readonly fd: number;
  private sizeBytes: number;
  private readonly known: string[];

  /**
   * @param knownBytes length of the table when the state was saved; 0 starts a new one
   * @param repeats whether what is behind it will be given once more
   * @throws VolaryError 'stale' for a table that has lost lines since
   */
  constructor(private readonly path: string, header: string, knownBytes: number, repeats: boolean) {
    this.fd = openSync(path, knownBytes > 0 ? 'r+' : 'w+');
    if (knownBytes === 0) writeSync(this.fd, header);
    const size = fstatSync(this.fd).size;
    if (size < knownBytes) {
      closeSync(this.fd);
      throw new VolaryError('stale', { where: quoteName(path), what: 'is shorter than it was', got: `${size} bytes`, expected: `at least ${knownBytes}`, mend: 'put it back, or start anew with --force' });
    }
    const from = knownBytes > 0 ? knownBytes : size;
    const text = this.readFrom(from, size - from);
    // A line that was cut in the middle was never given to anybody.
    const whole = text.slice(0, text.lastIndexOf('\n') + 1);
    this.sizeBytes = from + Buffer.byteLength(whole);
    ftruncateSync(this.fd, this.sizeBytes);
    this.known = repeats ? whole.split('\n').slice(0, -1) : [];
  }

  /** Bytes of the table as far as this run has come. */
  get takenBytes(): number {
    return this.sizeBytes - this.known.reduce((sum, line) => sum + Buffer.byteLength(line) + 1, 0);
  }

  /**
   * Writes a line; false where it was there already.
   * @throws VolaryError 'stale' where another line was there
   */
  append(line: string): boolean {
    const known = this.known.shift();
    if (known === undefined) {
      this.sizeBytes += writeSync(this.fd, `${line}\n`, this.sizeBytes);
      return true;
    }
    if (known === line) return false;
    throw new VolaryError('stale', { where: quoteName(this.path), what: 'the recording is not the one that these rows were made from', got: line, expected: known, mend: 'start anew with --force' });
  }

  /** The last line, the header included. */
  readLastLine(): string {
    const from = Math.max(0, this.sizeBytes - 65536);
    return this.readFrom(from, this.sizeBytes - from).trimEnd().split('\n').pop() ?? '';
  }

  sync(): void { fsyncSync(this.fd); }

  close(): void { closeSync(this.fd); }

  private readFrom(at: number, length: number): string {
    const bytes = Buffer.alloc(length);
    let got = 0;
    while (got < length) {
      const n = readSync(this.fd, bytes, got, length - got, at + got);
      if (n === 0) break;
      got += n;
    }
    return bytes.toString('utf8', 0, got);
  }
}
