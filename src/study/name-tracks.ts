import { quoteName } from '../schema/errors.js';
import { lastPart } from './found-files.js';
import type { FoundFile, Remarks } from './found-files.js';

/** A channel of a file given to a bird. */
export interface Assignment {
  file: FoundFile;
  /** The first channel is 1. */
  channel: number;
  bird: string;
  recorder: string;
}

export const ONLY_RECORDER = 'recorder-1';

/**
 * Gives every channel to a bird by the names of files and folders: the stem of a mono file names the bird, a file with several
 * channels gives NAME_ch1 and so on, a sub-folder names the recorder (or the bird, where each holds the files of one bird only).
 */
export function assignByNames(files: readonly FoundFile[], remarks: Remarks): Assignment[] {
  joinCountedSeries(files, remarks);
  const tops = new Set(files.map((f) => f.folders[0] ?? ''));
  const perBird = tops.size > 1 && files.every((f) => isBirdFolder(f));
  if (perBird) remarks.notes.push('each sub-folder holds the files of one bird: its name was taken as the bird, and all as tracks of one recorder');
  const chooseRecorder = (f: FoundFile): string => (perBird ? ONLY_RECORDER : f.folders[0] ?? ONLY_RECORDER);
  const assignments = files.flatMap((file) => {
    const base = file.stem || file.folders[file.folders.length - 1] || '';
    const recorder = chooseRecorder(file);
    if (file.info.channelCount === 1) return [{ file, channel: 1, bird: base || 'bird-1', recorder }];
    return Array.from({ length: file.info.channelCount }, (_, c) => ({ file, channel: c + 1, bird: `${base ? `${base}_` : ''}ch${c + 1}`, recorder }));
  });
  return separateNamesakes(assignments, remarks);
}

function isBirdFolder(file: FoundFile): boolean {
  const folder = file.folders[0];
  return file.folders.length === 1 && file.info.channelCount === 1 && (file.stem === '' || file.stem.toLowerCase() === folder.toLowerCase());
}

/** Names that differ in a last number only are a series where the headers' times follow one another; otherwise they are birds. */
function joinCountedSeries(files: readonly FoundFile[], remarks: Remarks): void {
  const groups = new Map<string, FoundFile[]>();
  for (const f of files) {
    const counted = /^(.*?)[-_ ]?\d+$/.exec(f.stem);
    if (!counted || !f.info.broadcastTime || !f.time) continue;
    const key = `${f.path.slice(0, -lastPart(f.path).length)}\n${counted[1]}\n${f.info.channelCount}`;
    groups.set(key, [...(groups.get(key) ?? []), f]);
  }
  for (const [key, group] of groups) {
    const sorted = [...group].sort((a, b) => a.time!.timeMs - b.time!.timeMs);
    const follows = sorted.every((f, i) => i === 0 || f.time!.timeMs >= sorted[i - 1].time!.timeMs + (sorted[i - 1].info.frameCount / f.info.sampleRateHz) * 1000 - 2000);
    if (group.length < 2 || !follows) continue;
    const stem = key.split('\n')[1];
    for (const f of group) f.stem = stem;
    remarks.notes.push(`${group.length} files ${quoteName(`${stem}...`)} follow one another by the times in their headers: taken as one series`);
  }
}

/** The same name in several folders means several birds, told apart by the folder. */
function separateNamesakes(assignments: Assignment[], remarks: Remarks): Assignment[] {
  const byBird = groupBy(assignments, (a) => a.bird);
  const shared: string[] = [];
  for (const [bird, own] of byBird) {
    const recorders = new Set(own.map((a) => a.recorder));
    const hasSeries = own.every((a) => a.file.time !== undefined);
    if (recorders.size > 1) for (const a of own) a.bird = `${a.recorder}_${bird}`;
    else if (own.length > 1 && !hasSeries) for (const a of own) a.bird = [...a.file.folders.slice(1), bird].join('_');
    if (recorders.size > 1) shared.push(bird);
    if (bird === 'none') for (const a of own) a.bird = a.bird === 'none' ? 'bird_none' : a.bird;
  }
  if (shared.length > 0) {
    const names = shared.slice(0, 3).map(quoteName).join(', ') + (shared.length > 3 ? ', ...' : '');
    remarks.notes.push(`the same names are there on several recorders (${names}): taken as different birds, named after recorder and file`);
  }
  return assignments;
}

export function groupBy<T>(items: readonly T[], key: (item: T) => string): Map<string, T[]> {
  const groups = new Map<string, T[]>();
  for (const item of items) {
    const k = key(item);
    const group = groups.get(k);
    if (group) group.push(item);
    else groups.set(k, [item]);
  }
  return groups;
}
