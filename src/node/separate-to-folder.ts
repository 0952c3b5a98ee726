import { availableParallelism } from 'node:os';
import { join } from 'node:path';
import type { WavEncoding } from '../audio/wav-writer.js';
import { createKernels } from '../kernels/kernels.js';
import type { ClockModel } from '../model/clock.js';
import { quoteName, VolaryError } from '../schema/errors.js';
import type { CallRow, ClockRow, SoundRow } from '../schema/rows.js';
import { chooseSeparationSettings } from '../separate/settings.js';
import type { SeparationSettings } from '../separate/settings.js';
import { countStretchBytes, separateTracks } from '../separate/separate-tracks.js';
import { takeCalls, takeSounds } from '../separate/take-rows.js';
import { StudyAudio } from '../study/study-audio.js';
import { findEndFrame } from '../study/timeline.js';
import { prepareSeparation, SEPARATION_RECORD } from './prepare-separation.js';
import type { PreparedSeparation } from './prepare-separation.js';
import { createSeparatePool } from './separate-pool.js';
import { describeSeparation } from './separation-input.js';
import type { SeparationTask } from './separation-input.js';
import { nameStudyPath } from './study-path.js';
import { findEncoding, listRoundedTracks } from './track-files.js';
import { writeFileAtomic } from './write-files.js';
import { countWriterBytes, TrackWriters } from './write-tracks.js';

export interface SeparateToFolderOptions {
  calls: readonly CallRow[];
  /** Rows of the table of other sounds: body noise and what broke through by radio stays on a track whose wearer is silent. */
  sounds?: readonly SoundRow[];
  /** Rows of the clock table; needed where there is more than one recorder. */
  clock: readonly ClockRow[];
  /** Sample format; without it the widest among each track's files. */
  encoding?: WavEncoding;
  changes?: Partial<SeparationSettings>;
  overwrite?: boolean;
  /** Worker threads; 0 = none, all in this thread. Default one per core, at most 8. The tracks are the same bytes for any number. */
  workers?: number;
  onNote?: (text: string) => void;
  /** Told again and again: seconds of sound done, of how many. */
  onProgress?: (doneSec: number, totalSec: number) => void;
}

export interface SeparateOutcome {
  /** False where some of the study could not be used. */
  complete: boolean;
  text: string;
  summary: { durationSec: number; folder: string; tracks: { bird: string; file: string; changedSec: number }[]; problems: number };
}

const MOST_WORKERS = 8;

/**
 * Writes one WAVE file per bird with the voices of the others removed, sample-aligned with its track from the study's start on.
 * @throws VolaryError 'exists', 'not-fit' without two usable tracks, 'missing' where a recorder's clock is not known
 */
export async function separateToFolder(manifestPath: string, folder: string, options: SeparateToFolderOptions): Promise<SeparateOutcome> {
  return separatePrepared(await prepareSeparation(manifestPath, folder, options), options);
}

/** The same for a study that was looked at already, while its calls were still to be found. */
export async function separatePrepared({ study, folder, names, mark }: PreparedSeparation, options: SeparateToFolderOptions): Promise<SeparateOutcome> {
  const { timeline } = study, birds = timeline.tracks.map((t) => t.bird);
  const problems = timeline.problems.filter((p) => p.severity === 'error').length;
  const clock = buildClock(timeline.recorders, new Set(timeline.tracks.map((t) => t.recorderIndex)), options.clock);
  const rounded = options.encoding === undefined ? listRoundedTracks(study) : [];
  if (rounded.length > 0) options.onNote?.(`note: recordings of ${rounded.map(quoteName).join(', ')} are wider than the 32-bit floats that tracks are worked on and written in: samples keep 24 significant bits`);
  await mark.write();
  const endFrames = timeline.tracks.map(findEndFrame);
  const audio = new StudyAudio(timeline, study.openReader);
  const files = names.map((name, j) => ({ name, spec: { sampleRateHz: timeline.sampleRateHz, channelCount: 1, encoding: options.encoding ?? findEncoding(study, j), frameCount: endFrames[j] } }));
  const changedFrames = birds.map(() => 0);
  const task: SeparationTask = {
    clock, changes: options.changes, calls: takeCalls(options.calls, birds), sounds: takeSounds(options.sounds ?? [], birds),
  };
  const workers = options.workers ?? Math.min(MOST_WORKERS, availableParallelism());
  const input = { ...await describeSeparation(audio, task), onChange: (track: number, frameCount: number) => { changedFrames[track] += frameCount; } };
  const k = createKernels(input.kernels, countStretchBytes(input) + countWriterBytes(birds.length)), writers = await TrackWriters.open(folder, files, k);
  const pool = workers > 0 ? createSeparatePool(study.manifestPath, task, workers) : undefined;
  try {
    for await (const stretch of separateTracks(input, pool, k)) {
      for (let j = 0; j < birds.length; j++) await writers.append(j, stretch.tracks[j]);
      options.onProgress?.((stretch.startFrame + Math.max(...stretch.tracks.map((x) => x.length))) / timeline.sampleRateHz, timeline.durationSec);
    }
    await writers.finish();
  } catch (error) {
    await writers.abandon();
    throw error;
  } finally {
    await pool?.close();
    await audio.close();
  }
  // A file may fail in a worker alone, which takes it for silence then.
  const failures = new Set([...audio.problems.map((p) => p.text), ...(pool?.problems ?? [])]);
  for (const text of failures) options.onNote?.(`error: ${text}`);
  birds.forEach((bird, j) => {
    if (audio.nonFiniteCounts[j] > 0) options.onNote?.(`warning: ${quoteName(bird)}: samples that are no numbers were written as 0`);
  });
  const tracks = birds.map((bird, j) => ({ bird, file: names[j], changedSec: changedFrames[j] / timeline.sampleRateHz }));
  const done = { durationSec: timeline.durationSec, tracks, problems: problems + failures.size };
  const summary = { ...done, folder };
  await writeFileAtomic(join(folder, SEPARATION_RECORD), `${JSON.stringify({
    schema: 1, study: await nameStudyPath(folder, study.manifestPath), calls: options.calls.length, settings: chooseSeparationSettings(timeline.sampleRateHz, options.changes), ...done,
  }, null, 2)}\n`, { overwrite: true });
  await mark.remove();
  return { complete: summary.problems === 0, text: describe(study.manifest.name, summary), summary };
}

/** The clocks of a study from rows of clock.csv. Throws VolaryError 'missing' where a recorder in use has none. */
export function buildClock(recorders: readonly string[], used: ReadonlySet<number>, rows: readonly ClockRow[]): ClockModel {
  return recorders.map((recorder, r) => {
    const own = rows.filter((row) => row.recorder === recorder).sort((a, b) => a.tRefSec - b.tRefSec);
    if (r === 0 || (own.length === 0 && !used.has(r))) return { knotSec: [0], offsetSec: [0], uncertaintySec: [0] };
    if (own.length === 0) throw new VolaryError('missing', { what: `the clock of recorder ${JSON.stringify(recorder)} is not in clock.csv`, mend: "run 'volary attribute' for this study again" });
    return { knotSec: own.map((o) => o.tRefSec), offsetSec: own.map((o) => o.offsetSec), uncertaintySec: own.map((o) => o.uncertaintySec) };
  });
}

function describe(name: string, s: SeparateOutcome['summary']): string {
  const width = Math.max(...s.tracks.map((t) => t.bird.length), 4);
  return [
    `${name}: ${s.tracks.length} tracks of ${s.durationSec.toFixed(1)} s`,
    `${'bird'.padEnd(width)}  changed`,
    ...s.tracks.map((t) => `${t.bird.padEnd(width)}  ${s.durationSec > 0 ? ((100 * t.changedSec) / s.durationSec).toFixed(1) : '0.0'} %`),
    `tracks in ${s.folder}`,
  ].join('\n');
}
