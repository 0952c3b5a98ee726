import { quoteName } from '../schema/errors.js';
import { parseDecimal, readCsv } from '../table/csv-text.js';
import type { CsvRow } from '../table/csv-text.js';
import { lastPart, removeExtension } from './found-files.js';
import type { FoundFile, Remarks } from './found-files.js';
import { groupBy, ONLY_RECORDER } from './name-tracks.js';
import type { Assignment } from './name-tracks.js';

/** Name of the list that a folder may hold. */
export const CHANNEL_LIST_NAME = 'channels.csv';

/**
 * Gives channels to birds as a list says: columns file, bird and, if there are several, recorder and channel. `file` may be a path, a
 * name, a name with the extension of another format, or the name of a series without its time. Rows that cannot be followed are named.
 * @throws VolaryError 'bad-table' where the list itself cannot be read
 */
export function assignByList(csvText: string, files: readonly FoundFile[], remarks: Remarks): Assignment[] {
  const { columns, rows } = readCsv(csvText, CHANNEL_LIST_NAME, 'bad-table', ['file', 'bird']);
  const find = indexFiles(files);
  const swapped: string[] = [];
  const assignments: Assignment[] = [];
  const used = new Set<FoundFile>();
  const rowsOfFile = groupBy(rows, (r) => r.values.file);
  for (const [name, own] of rowsOfFile) {
    const found = find(name);
    if (found.files.length === 0) {
      remarks.unusable.push(`${CHANNEL_LIST_NAME} row ${own[0].row}: ${quoteName(name)}: no such sound file that can be used`);
      continue;
    }
    if (found.isOtherFormat) swapped.push(name);
    for (const file of found.files) {
      used.add(file);
      own.forEach((row, i) => assignments.push(...assignRow(row, file, i, own.length, columns.includes('channel'), remarks)));
    }
  }
  if (swapped.length > 0) {
    remarks.notes.push(`${CHANNEL_LIST_NAME} names ${quoteName(swapped[0])}${swapped.length > 1 ? ` and ${swapped.length - 1} more` : ''}; took the file of the same name in another format`);
  }
  const left = files.filter((f) => !used.has(f));
  if (left.length > 0) remarks.notes.push(`${left.length} sound files are not named in ${CHANNEL_LIST_NAME} and were left out (${quoteName(left[0].path)}${left.length > 1 ? ', ...' : ''})`);
  const kept = dropDoubles(assignments, remarks);
  remarkFolders(kept, remarks);
  return kept;
}

function assignRow(row: CsvRow, file: FoundFile, index: number, rowCount: number, hasChannels: boolean, remarks: Remarks): Assignment[] {
  const { bird, recorder = '', channel: channelText = '' } = row.values;
  const count = file.info.channelCount;
  if (bird === '' || bird === 'none') {
    remarks.notes.push(`${CHANNEL_LIST_NAME} row ${row.row} names no bird: channel left out`);
    return [];
  }
  let channel = index + 1;
  if (hasChannels && channelText !== '') {
    channel = parseDecimal(channelText) ?? 0;
    if (!Number.isInteger(channel) || channel < 1 || channel > count) {
      remarks.unusable.push(`${CHANNEL_LIST_NAME} row ${row.row} column channel: wrong value; got ${quoteName(channelText)}; expected a number from 1 to ${count}`);
      return [];
    }
  } else if (rowCount > 1 && rowCount !== count) {
    remarks.unusable.push(`${CHANNEL_LIST_NAME} row ${row.row}: ${quoteName(file.path)} has ${count} channel${count > 1 ? 's' : ''} and is named in ${rowCount} rows; add a column channel`);
    return [];
  } else if (count > rowCount) {
    remarks.notes.push(`${CHANNEL_LIST_NAME} row ${row.row}: ${quoteName(file.path)} has ${count} channels and no channel is named: took the first`);
  }
  return [{ file, channel, bird, recorder: recorder || ONLY_RECORDER }];
}

/** Finds files by path, by name, by name in another format, and by the name of a series. */
function indexFiles(files: readonly FoundFile[]): (name: string) => { files: FoundFile[]; isOtherFormat: boolean } {
  const byPath = groupBy(files, (f) => f.path);
  const byName = groupBy(files, (f) => lastPart(f.path));
  const byStem = groupBy(files, (f) => removeExtension(f.path).toLowerCase());
  const byLastStem = groupBy(files, (f) => removeExtension(lastPart(f.path)).toLowerCase());
  const bySeries = groupBy(files.filter((f) => f.time !== undefined && f.stem !== ''), (f) => f.stem.toLowerCase());
  return (name) => {
    const path = name.replaceAll('\\', '/').replace(/^\.\//, '');
    const same = byPath.get(path) ?? byName.get(path);
    if (same) return { files: same.length === 1 ? same : [], isOtherFormat: false };
    const stem = removeExtension(path).toLowerCase();
    const other = byStem.get(stem) ?? byLastStem.get(stem);
    if (other?.length === 1) return { files: other, isOtherFormat: removeExtension(path) !== path };
    return { files: bySeries.get(stem) ?? [], isOtherFormat: false };
  };
}

/** One bird per channel and one recorder per bird: later rows that say otherwise are named and left out. */
function dropDoubles(assignments: Assignment[], remarks: Remarks): Assignment[] {
  const birdOf = new Map<string, string>();
  const recorderOf = new Map<string, string>();
  return assignments.filter((a) => {
    const channel = `${a.channel}\n${a.file.path}`;
    const other = birdOf.get(channel);
    if (other !== undefined) {
      remarks.unusable.push(`${CHANNEL_LIST_NAME}: channel ${a.channel} of ${quoteName(a.file.path)} is given to both ${quoteName(other)} and ${quoteName(a.bird)}; kept the first`);
      return false;
    }
    const recorder = recorderOf.get(a.bird) ?? a.recorder;
    if (recorder !== a.recorder) {
      remarks.unusable.push(`${CHANNEL_LIST_NAME}: ${quoteName(a.bird)} is on both recorder ${quoteName(recorder)} and ${quoteName(a.recorder)}; kept the first`);
      return false;
    }
    birdOf.set(channel, a.bird);
    recorderOf.set(a.bird, recorder);
    return true;
  });
}

function remarkFolders(assignments: readonly Assignment[], remarks: Remarks): void {
  const byFolder = groupBy(assignments, (a) => a.file.folders[0] ?? '');
  if (byFolder.size < 2) return;
  const isMixed = [...byFolder.values()].some((own) => new Set(own.map((a) => a.recorder)).size > 1) || new Set(assignments.map((a) => a.recorder)).size < byFolder.size;
  if (isMixed) remarks.notes.push(`${CHANNEL_LIST_NAME} groups the recorders otherwise than the sub-folders do; believed ${CHANNEL_LIST_NAME}`);
}
