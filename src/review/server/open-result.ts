/** What a review needs of a result folder: tables, the study and its sound. */
import { createHash } from 'node:crypto';
import { readFile, readdir, realpath, stat } from 'node:fs/promises';
import { isAbsolute, join, sep } from 'node:path';
import { adviseOnCalls, readRunFile } from '../../node/run-record.js';
import { openAudioFile, loadStudy } from '../../node/study-files.js';
import type { StudyOnDisk } from '../../node/study-files.js';
import { findStudyPath } from '../../node/study-path.js';
import { quoteName, VolaryError } from '../../schema/errors.js';
import type { CallRow, ClockRow } from '../../schema/rows.js';
import { StudyAudio } from '../../study/study-audio.js';
import { parseCsv } from '../../table/csv-table.js';
import { callTable, clockTable } from '../../table/table-specs.js';
import type { StudyInfo } from '../study-info.js';

export interface OpenedResult {
  folder: string;
  info: StudyInfo;
  calls: CallRow[];
  clock: ClockRow[];
  audio: StudyAudio;
  /** Separated voices on the same timeline, where there are any. */
  voices?: StudyAudio;
  /** Recordings by number, in the order of the study: the page never names a path. */
  recordings: string[];
  close(): Promise<void>;
}

interface RunRecord { study?: unknown; name?: unknown; gainsDb?: Record<string, number>; settings?: { bandHz?: [number, number] } }

/**
 * Opens a folder that 'volary attribute' has written.
 * @param studyPath manifest, where not the one that run.json names
 * @throws VolaryError 'missing', 'bad-table', 'bad-study'
 */
export async function openResult(folder: string, studyPath?: string): Promise<OpenedResult> {
  const callsText = await readTable(folder, 'calls.csv');
  const calls = parseCsv(callTable, callsText, join(folder, 'calls.csv'));
  const clockText = await readTable(folder, 'clock.csv').catch(() => undefined);
  const clock = clockText === undefined ? [] : parseCsv(clockTable, clockText, join(folder, 'clock.csv'));
  const run: RunRecord = await readRunFile(folder) ?? {};
  const study = await loadStudy(await findManifest(folder, run, studyPath));
  const { timeline, manifest } = study;
  const voices = await openVoices(folder, study);
  const audio = new StudyAudio(timeline, study.openReader);
  const info: StudyInfo = {
    name: manifest.name, start: manifest.start, sampleRateHz: timeline.sampleRateHz, durationSec: timeline.durationSec, recorders: timeline.recorders,
    tracks: timeline.tracks.map((t) => ({ bird: t.bird, recorder: t.recorder, gainDb: run.gainsDb?.[t.bird] ?? 0, hasVoice: voices !== undefined })),
    bandHz: run.settings?.bandHz ?? [400, Math.min(11000, 0.45 * timeline.sampleRateHz)],
    callsFingerprint: createHash('sha256').update(callsText).digest('hex'), notes: timeline.problems.map((p) => p.text),
  };
  const paths = [...new Set(timeline.tracks.flatMap((t) => t.segments.map((s) => s.path)))];
  return {
    folder, info, calls, clock, audio, voices, recordings: paths.map((path) => (isAbsolute(path) ? path : join(study.folder, path))),
    async close() {
      await audio.close();
      await voices?.close();
    },
  };
}

async function findManifest(folder: string, run: RunRecord, given?: string): Promise<string> {
  const path = given ?? await findStudyPath(folder, run.study);
  if (path !== undefined) return path;
  throw new VolaryError('missing', { where: quoteName(join(folder, 'run.json')), what: 'names no study', mend: 'give the manifest with --study' });
}

/** The tracks that 'volary separate --out DIR/voices' has written: from the study's start on, each on its recorder's clock. */
async function openVoices(folder: string, study: StudyOnDisk): Promise<StudyAudio | undefined> {
  const place = join(folder, 'voices');
  const text = await readFile(join(place, 'separation.json'), 'utf8').catch(() => undefined);
  if (text === undefined) return undefined;
  const listed = (JSON.parse(text) as { tracks?: { bird: string; file: string }[] }).tracks ?? [];
  const names = new Map(listed.map((t) => [t.bird, t.file]));
  const { timeline } = study;
  if (!timeline.tracks.every((t) => /^[^/\\]+$/.test(names.get(t.bird) ?? ''))) return undefined;
  const tracks = timeline.tracks.map((t) => ({ ...t, segments: [{ path: names.get(t.bird)!, channel: 0, startFrame: 0, fileFrame: 0, frameCount: timeline.frameCount }] }));
  return new StudyAudio({ ...timeline, tracks }, (path) => openAudioFile(join(place, path)));
}

async function readTable(folder: string, name: string): Promise<string> {
  try {
    return await readFile(join(folder, name), 'utf8');
  } catch (cause) {
    const isFolder = (await stat(folder).catch(() => undefined))?.isDirectory();
    throw new VolaryError('missing', {
      where: quoteName(join(folder, name)), what: 'cannot be read', got: (cause as NodeJS.ErrnoException).code === 'ENOENT' ? 'no such file' : undefined,
      expected: "a folder that 'volary attribute' has written", mend: isFolder ? await adviseOnCalls(folder) : undefined,
    }, { cause });
  }
}

/** Names of the tables that lie in the folder itself; a link that leads out of it is none. */
export async function listTables(folder: string): Promise<{ name: string; bytes: number }[]> {
  const root = await realpath(folder);
  const names = (await readdir(root)).filter((name) => /^[\w-]+\.csv$/.test(name)).sort();
  const found = await Promise.all(names.map(async (name) => {
    const real = await realpath(join(root, name)).catch(() => '');
    const stats = real.startsWith(root + sep) ? await stat(real) : undefined;
    return stats?.isFile() ? [{ name, bytes: stats.size }] : [];
  }));
  return found.flat();
}
