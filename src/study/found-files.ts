import type { AudioInfo } from '../audio/types.js';
import { quoteName } from '../schema/errors.js';
import { isDateName, parseNamedTime, readBroadcastTime } from './file-times.js';
import type { FileTime } from './file-times.js';
import { compareNaturally } from './natural-order.js';
import type { FileHeader } from './timeline.js';

/** A sound file of a folder, with what its place, name and header tell. */
export interface FoundFile {
  /** Relative to the folder, with '/'. */
  path: string;
  info: AudioInfo;
  /** Folders on the way, without those that name a day. */
  folders: string[];
  /** Name without extension and time; '' where it is nothing but a time. */
  stem: string;
  time: FileTime | undefined;
}

/** What was taken and what was not, in words. */
export interface Remarks {
  notes: string[];
  /** One line per file that cannot be used. */
  unusable: string[];
}

/**
 * Sorts out the files of a folder: what cannot be read is named, of two files with the same name and another extension the first is
 * taken, and a time is found in the name or the broadcast header.
 * @param utcOffsetMin minutes that the recorders' clocks were ahead of UTC, used where a time names no zone
 */
export function describeFiles(headers: ReadonlyMap<string, FileHeader>, utcOffsetMin: number, remarks: Remarks): FoundFile[] {
  const files: FoundFile[] = [];
  const taken = new Map<string, string>();
  const disagreements: { path: string; differenceSec: number }[] = [];
  for (const path of [...headers.keys()].sort(compareNaturally)) {
    const header = headers.get(path)!;
    if ('failure' in header) {
      remarks.unusable.push(header.failure);
      continue;
    }
    if (header.info.frameCount === 0) {
      remarks.unusable.push(`${quoteName(path)}: holds no sound`);
      continue;
    }
    const key = removeExtension(path);
    const twin = taken.get(key);
    if (twin !== undefined) {
      remarks.unusable.push(`${quoteName(path)}: left out, for ${quoteName(twin)} has the same name`);
      continue;
    }
    taken.set(key, path);
    files.push(describeFile(path, header.info, utcOffsetMin, disagreements));
  }
  if (disagreements.length > 0) {
    const { path, differenceSec } = disagreements[0];
    remarks.notes.push(`in ${disagreements.length} of ${files.length} files the time in the name and the time in the header disagree (${quoteName(path)} by ${formatDifference(differenceSec)}); believed the names`);
  }
  return files;
}

/** Path without the extension of its last part. */
export function removeExtension(path: string): string {
  return path.replace(/\.[A-Za-z][A-Za-z0-9]{0,4}$/, '');
}

/** Last part of a path. */
export function lastPart(path: string): string {
  return path.slice(path.lastIndexOf('/') + 1);
}

function describeFile(path: string, info: AudioInfo, utcOffsetMin: number, disagreements: { path: string; differenceSec: number }[]): FoundFile {
  const parts = path.split('/');
  const name = removeExtension(parts.pop()!);
  const day = parts.findLast(isDateName) ?? '';
  const named = parseNamedTime(name, day);
  const inside = readBroadcastTime(info);
  const time = chooseTime(named, inside, (differenceSec) => disagreements.push({ path, differenceSec }));
  const shifted = time && !time.hasZone ? { ...time, timeMs: time.timeMs - utcOffsetMin * 60000 } : time;
  return { path, info, folders: parts.filter((p) => !isDateName(p)), stem: named ? named.stem : name, time: shifted };
}

function chooseTime(named: FileTime | undefined, inside: FileTime | undefined, disagree: (differenceSec: number) => void): FileTime | undefined {
  if (!named || !inside) return named ?? inside;
  const differenceSec = (named.timeMs - inside.timeMs) / 1000;
  // A name with a zone against a header without one differs by whole quarters of an hour and means the same.
  const isZone = named.hasZone && Math.abs(differenceSec) <= 14 * 3600 && Math.abs(differenceSec - Math.round(differenceSec / 900) * 900) <= 2;
  if (Math.abs(differenceSec) <= Math.max(2, named.stepSec)) return inside.stepSec < named.stepSec ? { ...inside, hasZone: named.hasZone } : named;
  if (!isZone) disagree(differenceSec);
  return named;
}

function formatDifference(differenceSec: number): string {
  const size = Math.abs(differenceSec);
  return size < 120 ? `${size.toFixed(1)} s` : size < 7200 ? `${(size / 60).toFixed(1)} min` : size < 172800 ? `${(size / 3600).toFixed(1)} h` : `${(size / 86400).toFixed(0)} days`;
}
