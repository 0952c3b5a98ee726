import { rm } from 'node:fs/promises';
import { join } from 'node:path';
import type { EngineState } from '../../live/live-engine.js';
import { warningTable } from '../../live/warning-table.js';
import type { WarningRow } from '../../live/warnings.js';
import type { CallRow } from '../../schema/rows.js';
import { formatCsv, parseCsv } from '../../table/csv-table.js';
import { callTable } from '../../table/table-specs.js';
import { makeFolder, prepareFolder } from '../write-files.js';
import { RowLog } from './row-log.js';
import type { SoundDigest } from './sound-digest.js';
import { loadState, saveState, STATE_NAME, type SavedRun } from './state-file.js';

const CALLS = 'calls.csv', WARNINGS = 'warnings.csv';

/** The tables of a live run in a folder, and the state to go on from. */
export class WatchTables {
  private constructor(private readonly folder: string, private readonly saved: SavedRun, private readonly calls: RowLog, private readonly warnings: RowLog) {}

  /**
   * Opens a folder, new or of an earlier run.
   * @param canRepeat whether the sound since the saved state can be had once more
   * @throws VolaryError 'exists' for tables of another command, 'stale' for a state that does not fit
   */
  static async open(folder: string, header: Record<string, unknown>, startUtc: string | undefined, options: { overwrite: boolean; canRepeat: boolean }): Promise<WatchTables> {
    await makeFolder(folder);
    if (options.overwrite) await rm(join(folder, STATE_NAME), { force: true });
    const found = await loadState(folder, header);
    if (!found) await prepareFolder(folder, [CALLS, WARNINGS], { overwrite: options.overwrite });
    const saved = found ?? { header, startUtc, callBytes: 0, warningBytes: 0 };
    const tables = new WatchTables(folder, saved, new RowLog(join(folder, CALLS), formatCsv(callTable, []), saved.callBytes, options.canRepeat),
      new RowLog(join(folder, WARNINGS), formatCsv(warningTable, []), saved.warningBytes, options.canRepeat));
    if (!found) await tables.save(undefined);
    return tables;
  }

  /** What an earlier run had come to. */
  get engine(): EngineState | undefined { return this.saved.engine; }

  /** What the files were that it had heard. */
  get sound(): readonly SoundDigest[] { return this.saved.sound ?? []; }

  get startUtc(): string | undefined { return this.saved.startUtc; }

  /** False for a row that was written by an earlier run. */
  addCall(row: CallRow): boolean { return this.calls.append(formatLine(formatCsv(callTable, [row]))); }

  addWarning(row: WarningRow): boolean { return this.warnings.append(formatLine(formatCsv(warningTable, [row]))); }

  /** The call that was written last. */
  readLastCall(): CallRow | undefined {
    const line = this.calls.readLastLine();
    return parseCsv(callTable, `${formatCsv(callTable, [])}${line.startsWith(callTable.columns[0].name) ? '' : line}`, CALLS)[0];
  }

  /** Saves the state; the rows it stands for are on the disk before. */
  async save(engine: EngineState | undefined, sound?: SoundDigest[]): Promise<void> {
    this.calls.sync();
    this.warnings.sync();
    await saveState(this.folder, { ...this.saved, callBytes: this.calls.takenBytes, warningBytes: this.warnings.takenBytes, engine, sound });
  }

  close(): void {
    this.calls.close();
    this.warnings.close();
  }
}


/** The line of the one row of a table's text. */
function formatLine(table: string): string {
  return table.slice(table.indexOf('\n') + 1).trimEnd();
}
