import { readdir, stat } from 'node:fs/promises';
import { join } from 'node:path';
import { buildWavFile } from '../audio/wav-writer.js';
import type { WavEncoding } from '../audio/wav-writer.js';
import { chooseClips } from '../analysis/clips/choose-clips.js';
import type { ClipChoice } from '../analysis/clips/choose-clips.js';
import { measureCallBand } from '../evidence/measure-call-band.js';
import { readOffset } from '../model/clock.js';
import type { ClockModel } from '../model/clock.js';
import { VolaryError } from '../schema/errors.js';
import type { CallRow, ClockRow } from '../schema/rows.js';
import { StudyAudio } from '../study/study-audio.js';
import { findEndFrame } from '../study/timeline.js';
import { formatCsv } from '../table/csv-table.js';
import { formatCsvwMetadata } from '../table/csvw-metadata.js';
import { formatDataPackage } from '../table/data-package.js';
import { regionTable } from '../table/region-table.js';
import type { RegionRow } from '../table/region-table.js';
import { formatUtc } from '../table/utc-time.js';
import { buildClock } from './separate-to-folder.js';
import { loadStudy } from './study-files.js';
import type { StudyOnDisk } from './study-files.js';
import { findEncoding, nameTrackFiles } from './track-files.js';
import { makeFolder, prepareFolder, refuseExisting, writeFileAtomic } from './write-files.js';

export interface ClipsToFolderOptions extends ClipChoice {
  calls: readonly CallRow[];
  /** Rows of the clock table; needed where there is more than one recorder. */
  clock: readonly ClockRow[];
  /** Sound kept before and after the call, seconds. */
  marginSec: number;
  /** Where a call's lowest and highest frequency are looked for, Hz. */
  bandHz?: [number, number];
  overwrite?: boolean;
  onNote?: (text: string) => void;
  onProgress?: (done: number, total: number) => void;
}

export interface ClipsOutcome {
  clips: number;
  birds: Record<string, number>;
  /** Calls whose track has no sound there. */
  skipped: number;
  folder: string;
  /** Clips in the folders of these birds that regions.csv does not name: of an earlier run. */
  older: number;
  /** True where every file could be read. */
  complete: boolean;
}

interface PlannedClip { call: CallRow; track: number; startFrame: number; callStart: number; callEnd: number; endFrame: number; path: string }

/** Band edges of a fainter call would be those of the noise. */
const LEAST_BAND_SNR_DB = 20;
const TABLES = ['regions.csv', 'datapackage.json', 'csv-metadata.json'];

/**
 * Cuts calls out of a study's recordings: FOLDER/<bird>/<bird>-<call_id>.wav, samples as recorded, the call marked inside by a cue point
 * with label and length; regions.csv describes them.
 * @throws VolaryError 'exists', 'bad-option' for an unknown bird, 'missing' where a recorder's clock is not known
 */
export async function clipsToFolder(manifestPath: string, folder: string, options: ClipsToFolderOptions): Promise<ClipsOutcome> {
  const study = await loadStudy(manifestPath), { timeline } = study;
  for (const p of timeline.problems) if (p.severity === 'error') options.onNote?.(`error: ${p.text}`);
  const chosen = chooseClips(options.calls, options, study.manifest.tracks.map((t) => t.bird));
  const clock = buildClock(timeline.recorders, new Set(timeline.tracks.map((t) => t.recorderIndex)), options.clock);
  const planned = planClips(study, clock, chosen, options.marginSec);
  const folders = [...new Set(planned.map((p) => p.path.split('/')[0]))];
  await prepareFolder(folder, TABLES, { overwrite: options.overwrite });
  for (const name of folders) await makeFolder(join(folder, name));
  for (const clip of planned) await refuseExisting(join(folder, clip.path), { overwrite: options.overwrite });
  const audio = new StudyAudio(timeline, study.openReader);
  const rows: RegionRow[] = [];
  try {
    for (const [i, clip] of planned.entries()) {
      const row = await writeClip(study, audio, folder, clip, options);
      if (row) rows.push(row);
      options.onProgress?.(i + 1, planned.length);
    }
  } finally {
    await audio.close();
  }
  for (const p of audio.problems) options.onNote?.(`error: ${p.text}`);
  await writeFileAtomic(join(folder, 'regions.csv'), formatCsv(regionTable, rows), { overwrite: options.overwrite });
  const title = `${study.manifest.name} clips`;
  await writeFileAtomic(join(folder, 'datapackage.json'), formatDataPackage(title, [regionTable]), { overwrite: options.overwrite });
  await writeFileAtomic(join(folder, 'csv-metadata.json'), formatCsvwMetadata(title, [regionTable]), { overwrite: options.overwrite });
  const birds: Record<string, number> = {};
  for (const row of rows) birds[row.organismName] = (birds[row.organismName] ?? 0) + 1;
  return {
    clips: rows.length, birds, skipped: chosen.length - rows.length, folder, older: await countOlder(folder, folders, rows),
    complete: audio.problems.length === 0 && !timeline.problems.some((p) => p.severity === 'error'),
  };
}

/** Where each call lies on its own recorder's clock, to the sample; margins end where the track does. */
function planClips({ timeline }: StudyOnDisk, clock: ClockModel, calls: readonly CallRow[], marginSec: number): PlannedClip[] {
  const birds = [...new Set([...timeline.tracks.map((t) => t.bird), ...calls.map((c) => c.bird)])];
  const names = new Map(nameTrackFiles(birds).map((file, i) => [birds[i], file.replace(/\.wav$/, '')]));
  const ends = timeline.tracks.map(findEndFrame), rate = timeline.sampleRateHz, margin = Math.round(marginSec * rate);
  return calls.flatMap((call) => {
    const track = timeline.tracks.findIndex((t) => t.bird === call.track);
    if (track < 0) return [];
    const toFrame = (sec: number): number => Math.round((sec + readOffset(clock[timeline.tracks[track].recorderIndex], sec)) * rate);
    const callStart = Math.max(0, toFrame(call.onsetSec)), callEnd = Math.min(ends[track], toFrame(call.offsetSec));
    if (callEnd <= callStart) return [];
    const name = names.get(call.bird)!;
    return [{ call, track, callStart, callEnd, startFrame: Math.max(0, callStart - margin), endFrame: Math.min(ends[track], callEnd + margin), path: `${name}/${name}-${String(call.callId).padStart(6, '0')}.wav` }];
  });
}

async function writeClip(study: StudyOnDisk, audio: StudyAudio, folder: string, clip: PlannedClip, options: ClipsToFolderOptions): Promise<RegionRow | undefined> {
  const { timeline, manifest } = study, { call } = clip, sampleRateHz = timeline.sampleRateHz;
  const samples = new Float32Array(clip.endFrame - clip.startFrame);
  const gaps = await audio.readTracks(clip.startFrame, samples.length, timeline.tracks.map((_, j) => (j === clip.track ? samples : null)));
  // Silence in place of lost sound is no call to listen to.
  if (gaps.some((g) => g.startFrame < clip.callEnd && g.startFrame + g.frameCount > clip.callStart)) return undefined;
  const startFrame = clip.callStart - clip.startFrame, endFrame = clip.callEnd - clip.startFrame;
  const encoding: WavEncoding = findEncoding(study, clip.track);
  const text = `${call.bird} ${call.callId} p=${call.probability.toFixed(4)}`;
  await writeFileAtomic(join(folder, clip.path), buildWavFile({ sampleRateHz, encoding, labels: [{ startFrame, endFrame, text }] }, [samples]), { overwrite: options.overwrite });
  const band = call.snrDb >= LEAST_BAND_SNR_DB ? measureCallBand(samples.subarray(startFrame, endFrame), sampleRateHz, options.bandHz) : undefined;
  return {
    identifier: `call-${call.callId}`, isROIOf: clip.path, startTimeSec: startFrame / sampleRateHz, endTimeSec: endFrame / sampleRateHz,
    startTimestamp: formatUtc(manifest.start, call.onsetSec), endTimestamp: formatUtc(manifest.start, call.offsetSec),
    freqLowHz: band?.[0] ?? NaN, freqHighHz: band?.[1] ?? NaN, mediaDurationSec: samples.length / sampleRateHz,
    organismName: call.bird, probability: call.probability, callId: call.callId, onsetSec: call.onsetSec,
  };
}

async function countOlder(folder: string, folders: readonly string[], rows: readonly RegionRow[]): Promise<number> {
  const written = new Set(rows.map((r) => r.isROIOf));
  let older = 0;
  for (const name of folders) older += (await readdir(join(folder, name))).filter((file) => file.endsWith('.wav') && !written.has(`${name}/${file}`)).length;
  return older;
}

/** The result folder has a datapackage.json of its own: clips need another folder. Throws VolaryError 'bad-option'. */
export async function requireOtherFolder(resultFolder: string, folder: string): Promise<void> {
  const [a, b] = await Promise.all([stat(resultFolder), stat(folder).catch(() => undefined)]);
  if (b && a.ino === b.ino && a.dev === b.dev) throw new VolaryError('bad-option', { where: '--out', what: 'is the result folder itself', expected: 'a folder of its own for the clips' });
}
