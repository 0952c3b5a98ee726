/** Corrections on the disk: the journal, and the two files in the formats of `volary score` that are written anew from it. */
import { readFile, stat } from 'node:fs/promises';
import { join } from 'node:path';
import { writeFileAtomic } from '../../node/write-files.js';
import { quoteName, VolaryError } from '../../schema/errors.js';
import { drawSample } from '../../score/sample-calls.js';
import { formatSample, readSample } from '../../score/sample-file.js';
import type { VerifiedCall } from '../../score/score-verified.js';
import { fillSample, formatLabels, idOfCall } from '../labels.js';
import type { LabelChange, LabelEntry } from '../labels.js';
import { splitChanges } from '../split-changes.js';
import { JOURNAL_NAME, openLabelJournal } from './label-journal.js';
import type { LabelJournal } from './label-journal.js';
import type { OpenedResult } from './open-result.js';
import { findNewAnswers, readSampleAnswers, SAMPLE_WINDOW } from './sample-answers.js';

export interface LabelStore {
  readonly entries: readonly LabelEntry[];
  /** The calls to verify, in the order in which to verify them. */
  readonly sample: readonly VerifiedCall[];
  /**
   * Resolves when the changes are on the disk and in the files that follow from them; what a window sends twice counts once.
   * @throws VolaryError 'bad-labels' where the table has no such call
   */
  append(window: string, changes: LabelChange[], serial?: number): Promise<LabelEntry>;
  /** Tells of every entry from now on; returns how to stop. */
  listen(onEntry: (entry: LabelEntry) => void): () => void;
  close(): Promise<void>;
}

const LABELS = 'labels.csv';
const VERIFIED = 'verified.csv';
const SAMPLE_SIZE = 100;

/**
 * Opens the corrections of a result folder.
 * @throws VolaryError like openLabelJournal and, for answers in sample.csv, readSampleAnswers; 'exists' where a label file is there that no review has written
 */
export async function openLabelStore(result: OpenedResult): Promise<LabelStore> {
  const { folder, calls, info } = result;
  await refuseForeign(folder);
  const drawn = await findSample(result);
  const sample = drawn.map((row) => ({ ...row, bird: '' }));
  const answers = readSampleAnswers(drawn, calls);
  const journal = await openLabelJournal(folder, info.callsFingerprint);
  await takeAnswers(journal, answers);
  const listeners = new Set<(entry: LabelEntry) => void>();
  const ids = new Set(calls.map((c) => idOfCall(c.callId)));
  let told = journal.entries.length;
  let isDirty = journal.entries.length > 0;
  let writing: Promise<void> | undefined;
  const write = async (): Promise<void> => {
    while (isDirty) {
      isDirty = false;
      await writeFileAtomic(join(folder, LABELS), formatLabels(journal.labels, calls), { overwrite: true });
      if (sample.length) await writeFileAtomic(join(folder, VERIFIED), formatSample(calls, fillSample(sample, journal.labels)), { overwrite: true });
    }
  };
  const settle = (): Promise<void> => (writing ??= write().finally(() => { writing = undefined; }));
  // A crash may have come between the journal and the files that follow from it.
  await settle();
  return {
    entries: journal.entries, sample,
    async append(window, changes, serial) {
      refuseStrangers(changes, ids);
      const entry = await journal.append(window, changes, serial);
      isDirty = true;
      // What came a second time was told of before.
      if (entry.n > told) for (const tell of listeners) tell(entry);
      told = Math.max(told, entry.n);
      await settle();
      return entry;
    },
    listen(onEntry) {
      listeners.add(onEntry);
      return () => { listeners.delete(onEntry); };
    },
    async close() {
      await writing?.catch(() => undefined);
      await journal.close();
    },
  };
}

/** Into the journal, so that answers given in the file and in the page are kept and shown alike. */
async function takeAnswers(journal: LabelJournal, answers: readonly LabelChange[]): Promise<void> {
  try {
    for (const piece of splitChanges(findNewAnswers(answers, journal.entries))) await journal.append(SAMPLE_WINDOW, piece);
  } catch (error) {
    await journal.close();
    throw error;
  }
}

/** An answer to a call that the table lacks would be written as one that was added. */
function refuseStrangers(changes: readonly LabelChange[], ids: ReadonlySet<string>): void {
  const k = changes.findIndex(({ id }) => /^c\d+$/.test(id) && !ids.has(id));
  if (k >= 0) throw new VolaryError('bad-labels', { where: `changes[${k}].id`, what: 'no such call', got: quoteName(changes[k].id), expected: 'c and the number of a call of calls.csv' });
}

async function refuseForeign(folder: string): Promise<void> {
  const isThere = async (name: string): Promise<boolean> => (await stat(join(folder, name)).catch(() => undefined)) !== undefined;
  if (await isThere(JOURNAL_NAME)) return;
  for (const name of [LABELS, VERIFIED]) {
    if (await isThere(name)) throw new VolaryError('exists', { where: quoteName(join(folder, name)), what: 'is there and was not written by a review, which would replace it', mend: 'move it to another place' });
  }
}

/** The sample that `volary sample` has drawn into the folder, with what was filled in since, else one of a hundred calls; the same for the same table. */
async function findSample({ folder, calls }: OpenedResult): Promise<VerifiedCall[]> {
  const path = join(folder, 'sample.csv');
  const text = await readFile(path, 'utf8').catch(() => undefined);
  const byId = new Map(calls.map((c) => [c.callId, c]));
  if (text !== undefined) {
    const rows = readSample(text, path);
    if (rows.every((row) => Math.abs((byId.get(row.callId)?.onsetSec ?? Infinity) - row.onsetSec) < 1e-5)) return rows;
    throw new VolaryError('stale', { where: quoteName(path), what: 'was drawn from another call table', mend: "move it to another place, and draw again with 'volary sample'" });
  }
  if (!calls.length) return [];
  return drawSample(calls, SAMPLE_SIZE).drawn.map((d, k) => ({ ...d, row: k + 2, bird: '', onsetSec: byId.get(d.callId)!.onsetSec }));
}
