import { realpath, stat } from 'node:fs/promises';
import { isAbsolute, join } from 'node:path';
import type { WavEncoding } from '../audio/wav-writer.js';
import { quoteName, VolaryError } from '../schema/errors.js';
import type { SeparationSettings } from '../separate/settings.js';
import { readVersion } from './read-version.js';
import { MARK_NAME, SeparationMark } from './separation-mark.js';
import { loadStudy } from './study-files.js';
import type { StudyOnDisk } from './study-files.js';
import { findRealPath } from './study-path.js';
import { nameTrackFiles } from './track-files.js';
import { prepareFolder, sweepUnfinished } from './write-files.js';

export interface PrepareOptions {
  /** Folder of the calls; without it they are found as a part of the same command. */
  callsFolder?: string;
  /** Sample format; without it the widest among each track's files. */
  encoding?: WavEncoding;
  changes?: Partial<SeparationSettings>;
  overwrite?: boolean;
  onNote?: (text: string) => void;
}

/** A study that can be separated, and a folder that can take its tracks. */
export interface PreparedSeparation {
  study: StudyOnDisk;
  folder: string;
  /** File of each track. */
  names: string[];
  mark: SeparationMark;
}

export const SEPARATION_RECORD = 'separation.json';

/**
 * Makes sure, before hours of work, that a study can be separated into a folder; removes what a killed run left half written there.
 * @throws VolaryError 'exists', 'not-fit' without two usable tracks
 */
export async function prepareSeparation(manifestPath: string, folder: string, options: PrepareOptions): Promise<PreparedSeparation> {
  const study = await loadStudy(manifestPath), { tracks, problems } = study.timeline;
  for (const p of problems) if (p.severity !== 'note') options.onNote?.(`${p.severity}: ${p.text}`);
  if (tracks.length < 2) throw new VolaryError('not-fit', { what: 'too few usable tracks to separate', got: String(tracks.length), expected: 'at least 2' });
  const names = nameTrackFiles(tracks.map((t) => t.bird)), files = [...names, SEPARATION_RECORD];
  await refuseSources(study, files.map((name) => join(folder, name)));
  const mark = await SeparationMark.read(folder, {
    volary: readVersion(), manifest: study.manifest, calls: options.callsFolder === undefined ? null : await findRealPath(options.callsFolder),
    encoding: options.encoding ?? null, changes: options.changes ?? {}, overwrite: options.overwrite ?? false,
  });
  await prepareFolder(folder, files, { overwrite: options.overwrite || mark.isOwn });
  await sweepUnfinished(folder, [...files, MARK_NAME]);
  return { study, folder, names, mark };
}

/** What a study is read from is never written over, whatever the user says: nothing could bring it back. Throws VolaryError 'exists'. */
async function refuseSources(study: StudyOnDisk, outputs: readonly string[]): Promise<void> {
  const sources = new Map<string, string>();
  const recordings = [...study.headers.keys()].map((path) => (isAbsolute(path) ? path : join(study.folder, path)));
  for (const path of recordings) for (const key of await identify(path)) sources.set(key, 'is a recording of this study');
  for (const key of await identify(study.manifestPath)) sources.set(key, 'is the manifest of this study');
  for (const path of outputs) {
    for (const key of await identify(path)) {
      const what = sources.get(key);
      if (what) throw new VolaryError('exists', { where: quoteName(path), what: `${what}, which separate never replaces`, mend: 'choose another folder with --out' });
    }
  }
}

/** What makes two names names of one file: the path without links, and the place on the disk, for links of the file itself and systems that take no notice of case. */
async function identify(path: string): Promise<string[]> {
  const found = await stat(path, { bigint: true }).catch(() => undefined);
  if (!found) return [];
  // Some disks of other systems number nothing.
  return [await realpath(path), ...(found.ino > 0n ? [`${found.dev}:${found.ino}`] : [])];
}
