import { readFile, stat } from 'node:fs/promises';
import { dirname, isAbsolute, join } from 'node:path';
import { openAudio } from '../audio/open-audio.js';
import type { AudioReader } from '../audio/types.js';
import { quoteName, VolaryError } from '../schema/errors.js';
import { parseManifest } from '../study/manifest.js';
import type { StudyManifest } from '../study/manifest.js';
import { readHeaders } from '../study/read-headers.js';
import { buildTimeline } from '../study/timeline.js';
import type { FileHeader, Timeline } from '../study/timeline.js';
import { openFileSource } from './file-source.js';
import type { FileSourceOptions } from './file-source.js';

/** A study on disk: its manifest, what the headers say, and how to open a file of it. */
export interface StudyOnDisk {
  manifestPath: string;
  /** Folder that paths in the manifest are relative to. */
  folder: string;
  manifest: StudyManifest;
  headers: ReadonlyMap<string, FileHeader>;
  timeline: Timeline;
  /** Opens a file by its path as written in the manifest. */
  openReader(path: string): Promise<AudioReader>;
}

/** A manifest larger than this is no manifest; two weeks of hourly files of 16 birds are below 1 MB. */
const MAX_MANIFEST_BYTES = 64 * 2 ** 20;

/**
 * Reads a manifest and the headers of all its files; no sample is read. Files that cannot be used are problems of the timeline.
 * @throws VolaryError 'unreadable' or 'bad-study' about the manifest itself.
 * @example const study = await loadStudy('study.json'); const audio = new StudyAudio(study.timeline, study.openReader);
 */
export async function loadStudy(manifestPath: string, onHeader?: (done: number, total: number) => void, options?: FileSourceOptions): Promise<StudyOnDisk> {
  const manifest = await readManifest(manifestPath);
  const folder = dirname(manifestPath);
  // Not made absolute: messages name files the way the user wrote the manifest's place.
  const openReader = openFilesIn(folder, options);
  const paths = [...new Set(manifest.tracks.flatMap((t) => t.files.map((f) => f.path)))];
  const headers = await readHeaders(paths, openReader, onHeader);
  return { manifestPath, folder, manifest, headers, timeline: buildTimeline(manifest, headers), openReader };
}

/** Opens files by their paths as written in a manifest that lies in a folder. */
export function openFilesIn(folder: string, options?: FileSourceOptions): (path: string) => Promise<AudioReader> {
  return (path) => openAudioFile(isAbsolute(path) ? path : join(folder, path), options);
}

/** Reads a manifest alone; none of its files is looked at. Throws like loadStudy. */
export async function readManifest(manifestPath: string): Promise<StudyManifest> {
  return parseManifest(await readManifestText(manifestPath), manifestPath);
}

/** Opens one audio file of whatever supported format. Throws VolaryError. */
export async function openAudioFile(path: string, options?: FileSourceOptions): Promise<AudioReader> {
  return openAudio(await openFileSource(path, options));
}

async function readManifestText(path: string): Promise<string> {
  try {
    const found = await stat(path);
    if (!found.isFile()) throw new VolaryError('unreadable', { where: quoteName(path), what: 'is not a file', got: found.isDirectory() ? 'a folder' : 'something else', expected: 'a study manifest' });
    if (found.size > MAX_MANIFEST_BYTES) throw new VolaryError('bad-study', { where: quoteName(path), what: 'is too large for a study manifest', got: `${found.size} bytes`, expected: `at most ${MAX_MANIFEST_BYTES}` });
    return await readFile(path, 'utf8');
  } catch (error) {
    if (error instanceof VolaryError) throw error;
    const code = (error as NodeJS.ErrnoException).code;
    if (code === 'ENOENT') throw new VolaryError('missing', { where: quoteName(path), what: 'no such file', mend: "write one with 'volary draft FOLDER -o study.json'" });
    throw new VolaryError('unreadable', { where: quoteName(path), what: 'cannot be read', got: code ?? String(error) });
  }
}
