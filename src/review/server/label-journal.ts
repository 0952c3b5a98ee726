/** The append-only journal of corrections, labels.jsonl: a header, then one line per entry, each on the disk before it is acknowledged. */
import { open, readFile, stat, unlink } from 'node:fs/promises';
import type { FileHandle } from 'node:fs/promises';
import { join } from 'node:path';
import { syncFile } from '../../node/write-files.js';
import { quoteName, VolaryError } from '../../schema/errors.js';
import { applyChanges, parseChanges } from '../labels.js';
import type { Label, LabelChange, LabelEntry, LabelMap } from '../labels.js';

export const JOURNAL_NAME = 'labels.jsonl';
const LOCK_NAME = 'labels.lock';

export interface LabelJournal {
  readonly entries: readonly LabelEntry[];
  readonly labels: LabelMap;
  /** Appends an entry; resolves when it is safe on the disk. Calls wait for each other. The last serial of a window once more gives the entry that is there. */
  append(window: string, changes: LabelChange[], serial?: number): Promise<LabelEntry>;
  close(): Promise<void>;
}

/**
 * Opens the journal of a result folder, for one program at a time. A last line that a crash cut short was never acknowledged and is taken off.
 * @throws VolaryError 'exists' while another review has it, 'stale' where it belongs to another call table, 'bad-labels' on a damaged line
 */
export async function openLabelJournal(folder: string, callsFingerprint: string): Promise<LabelJournal> {
  const path = join(folder, JOURNAL_NAME);
  const release = await lockFolder(folder);
  let handle: FileHandle | undefined;
  try {
    const isNew = !(await stat(path).catch(() => undefined));
    handle = await openForAppend(path);
    const header = { volary: 1, kind: 'label-journal', calls: callsFingerprint };
    const text = isNew ? '' : await readFile(path, 'utf8');
    const whole = text.slice(0, text.lastIndexOf('\n') + 1);
    if (whole.length < text.length) {
      await handle.truncate(new TextEncoder().encode(whole).length);
      await syncFile(handle);
    }
    if (whole === '') await appendLine(handle, header);
    const entries = readEntries(whole, path, callsFingerprint);
    return createJournal(handle, entries, release);
  } catch (error) {
    await handle?.close();
    await release();
    throw error;
  }
}

function createJournal(handle: FileHandle, entries: LabelEntry[], release: () => Promise<void>): LabelJournal {
  const labels = new Map<string, Label>();
  const lastOf = new Map<string, LabelEntry>();
  for (const entry of entries) {
    applyChanges(labels, entry.changes);
    lastOf.set(entry.window, entry);
  }
  let queue: Promise<unknown> = Promise.resolve();
  let failure: VolaryError | undefined;
  return {
    entries, labels,
    append(window, changes, serial) {
      const result = queue.then(async () => {
        // What follows half a line would be lost with it at the next start.
        if (failure) throw failure;
        const before = lastOf.get(window);
        if (before && serial !== undefined && before.serial === serial) return before;
        const entry: LabelEntry = { n: entries.length + 1, utc: new Date().toISOString(), window, serial, changes };
        try {
          await appendLine(handle, entry);
        } catch (error) {
          failure = new VolaryError('unreadable', { where: JOURNAL_NAME, what: 'cannot be written', got: (error as NodeJS.ErrnoException).code ?? String(error), mend: 'make room on the disk and start again' }, { cause: error });
          throw failure;
        }
        entries.push(entry);
        lastOf.set(window, entry);
        applyChanges(labels, changes);
        return entry;
      });
      queue = result.catch(() => undefined);
      return result;
    },
    async close() {
      await queue;
      await handle.close();
      await release();
    },
  };
}

async function appendLine(handle: FileHandle, value: unknown): Promise<void> {
  await handle.appendFile(`${JSON.stringify(value)}\n`);
  await syncFile(handle);
}

async function openForAppend(path: string): Promise<FileHandle> {
  try {
    return await open(path, 'a');
  } catch (error) {
    throw new VolaryError('unreadable', { where: quoteName(path), what: 'cannot be written', got: (error as NodeJS.ErrnoException).code ?? String(error) }, { cause: error });
  }
}

function readEntries(text: string, path: string, callsFingerprint: string): LabelEntry[] {
  const lines = text.split('\n').slice(0, -1);
  return lines.flatMap((line, k): LabelEntry[] => {
    const where = `${quoteName(path)} line ${k + 1}`;
    const value = parseLine(line, where);
    if (k > 0) {
      if (value.n !== k) throw new VolaryError('bad-labels', { where, what: 'entries are missing or out of order', got: String(value.n), expected: `n ${k}` });
      return [{ n: k, utc: String(value.utc), window: String(value.window), serial: typeof value.serial === 'number' ? value.serial : undefined, changes: parseChanges(value.changes) }];
    }
    if (value.kind !== 'label-journal') throw new VolaryError('bad-labels', { where, what: 'not a journal of corrections', mend: 'move the file away' });
    if (value.calls === callsFingerprint) return [];
    throw new VolaryError('stale', { where: quoteName(path), what: 'these corrections belong to another call table', mend: 'attribute into a new folder, or move the file away (labels.csv stays good for volary score)' });
  });
}

function parseLine(line: string, where: string): Record<string, unknown> {
  try {
    const value: unknown = JSON.parse(line);
    if (value !== null && typeof value === 'object') return value as Record<string, unknown>;
  } catch { /* told below */ }
  throw new VolaryError('bad-labels', { where, what: 'is damaged', got: quoteName(line.slice(0, 40)), expected: 'an entry of the journal', mend: 'restore the file from a copy, or delete the line' });
}

/** A file with the number of the process that has the folder open; one left behind by a process that is gone is taken over. */
async function lockFolder(folder: string): Promise<() => Promise<void>> {
  const path = join(folder, LOCK_NAME);
  for (let attempt = 0; ; attempt++) {
    try {
      const handle = await open(path, 'wx');
      await handle.writeFile(String(process.pid));
      await handle.close();
      return () => unlink(path).catch(() => undefined);
    } catch (error) {
      const code = (error as NodeJS.ErrnoException).code;
      if (code !== 'EEXIST') throw new VolaryError('unreadable', { where: quoteName(folder), what: 'cannot be written to', got: code ?? String(error) }, { cause: error });
      const holder = Number(await readFile(path, 'utf8').catch(() => ''));
      if (attempt > 2 || isAlive(holder)) {
        throw new VolaryError('exists', { where: quoteName(folder), what: 'is open in another review', got: `process ${holder || 'unknown'}`, mend: `use its window, or delete ${LOCK_NAME} if there is none` });
      }
      await unlink(path).catch(() => undefined);
    }
  }
}

function isAlive(pid: number): boolean {
  if (!Number.isInteger(pid) || pid <= 0 || pid === process.pid) return pid === process.pid;
  try {
    process.kill(pid, 0);
    return true;
  } catch (error) {
    return (error as NodeJS.ErrnoException).code === 'EPERM';
  }
}
