import { quoteName } from '../schema/errors.js';
import { assignByList } from './channel-list.js';
import { describeFiles } from './found-files.js';
import type { Remarks } from './found-files.js';
import type { StudyManifest, StudyTrack } from './manifest.js';
import { assignByNames, groupBy } from './name-tracks.js';
import type { Assignment } from './name-tracks.js';
import { compareNaturally } from './natural-order.js';
import { placeFiles } from './place-files.js';
import type { Placement } from './place-files.js';
import type { FileHeader } from './timeline.js';

export interface DraftInput {
  name: string;
  /** By path relative to the folder, with '/'. */
  headers: ReadonlyMap<string, FileHeader>;
  /** Text of the folder's channels.csv. */
  channelList?: string;
  /** Minutes that the recorders' clocks were ahead of UTC; undefined = unknown, read as UTC. */
  utcOffsetMin?: number;
}

export interface Draft extends Remarks {
  /** Undefined where nothing can be used. */
  manifest: StudyManifest | undefined;
  sampleRateHz: number;
}

/**
 * Writes a study from what a folder holds. Everything that was believed or left out is told in `notes` and `unusable`.
 * @throws VolaryError 'bad-table' where channels.csv cannot be read
 */
export function draftStudy(input: DraftInput): Draft {
  const remarks: Remarks = { notes: [], unusable: [] };
  const files = describeFiles(input.headers, input.utcOffsetMin ?? 0, remarks);
  const all = input.channelList === undefined ? assignByNames(files, remarks) : assignByList(input.channelList, files, remarks);
  const { sampleRateHz, kept } = keepMajorityRate(all, remarks);
  const recorders = groupBy(kept, (a) => a.recorder);
  const placements = new Map([...recorders].map(([name, own]) => [name, placeRecorder(name, own, sampleRateHz, remarks)]));
  const { startMs, offsets } = joinRecorders(placements, sampleRateHz, remarks);
  const tracks: StudyTrack[] = [...recorders].flatMap(([recorder, own]) => buildTracks(recorder, own, placements.get(recorder), offsets.get(recorder) ?? 0, sampleRateHz));
  if (tracks.length === 0) return { ...remarks, manifest: undefined, sampleRateHz };
  const hasZone = kept.some((a) => a.file.time?.hasZone);
  if (startMs !== undefined && !hasZone && input.utcOffsetMin === undefined) {
    remarks.notes.push('the times of the files were read as UTC; if the recorder kept local time, draft again with --utc-offset');
  }
  const manifest: StudyManifest = {
    volary: 1,
    name: input.name,
    ...(startMs !== undefined ? { start: new Date(startMs).toISOString().replace(/\.000Z$/, 'Z') } : {}),
    recorders: [...recorders.keys()].map((name) => ({ name })),
    tracks,
  };
  return { ...remarks, manifest, sampleRateHz };
}

function keepMajorityRate(all: readonly Assignment[], remarks: Remarks): { sampleRateHz: number; kept: Assignment[] } {
  const byRate = groupBy(all, (a) => String(a.file.info.sampleRateHz));
  const birds = (group: readonly Assignment[]): number => new Set(group.map((a) => a.bird)).size;
  const best = [...byRate].reduce<[string, Assignment[]]>((a, b) => (birds(b[1]) > birds(a[1]) || (birds(b[1]) === birds(a[1]) && b[1].length > a[1].length) ? b : a), ['0', []])[0];
  const left = new Set<string>();
  for (const a of all) {
    const rate = String(a.file.info.sampleRateHz);
    if (rate === best || left.has(a.file.path)) continue;
    left.add(a.file.path);
    remarks.unusable.push(`${quoteName(a.file.path)}: left out, for it has ${rate} Hz; expected ${best} Hz as in most files`);
  }
  return { sampleRateHz: Number(best), kept: all.filter((a) => !left.has(a.file.path)) };
}

/** Places the files of a recorder by their times; undefined where none has one. */
function placeRecorder(name: string, own: Assignment[], sampleRateHz: number, remarks: Remarks): Placement | undefined {
  const byFile = groupBy(own, (a) => a.file.path);
  const timed = [...byFile.values()].filter((group) => group[0].file.time !== undefined);
  if (timed.length === 0) return undefined;
  if (timed.length < byFile.size) {
    const without = [...byFile.values()].find((group) => group[0].file.time === undefined)!;
    remarks.notes.push(`${byFile.size - timed.length} of ${byFile.size} files of recorder ${quoteName(name)} tell no time (${quoteName(without[0].file.path)}): placed at its start`);
  }
  const placement = placeFiles(timed.map((group) => ({
    path: group[0].file.path, birds: group.map((a) => a.bird), time: group[0].file.time!, frameCount: group[0].file.info.frameCount,
  })), sampleRateHz);
  remarks.notes.push(...placement.notes);
  return placement;
}

/** Puts the recorders' clocks beside each other by their told times; the study starts with the earliest. */
function joinRecorders(placements: ReadonlyMap<string, Placement | undefined>, sampleRateHz: number, remarks: Remarks): { startMs: number | undefined; offsets: Map<string, number> } {
  const [referenceName] = placements.keys();
  const reference = referenceName === undefined ? undefined : placements.get(referenceName);
  const offsets = new Map<string, number>();
  const spanMs = (p: Placement): [number, number] => [p.startMs, p.startMs + (p.endFrame / sampleRateHz) * 1000];
  const meeting = [...placements].filter(([name, p]) => {
    if (!p || !reference) return false;
    const [start, end] = spanMs(p);
    const [refStart, refEnd] = spanMs(reference);
    const meets = start < refEnd && end > refStart;
    if (!meets) remarks.notes.push(`the times of recorder ${quoteName(name)} do not meet those of ${quoteName(referenceName)}: its clock was set wrong; taken as if both had started together`);
    return meets;
  });
  if (!reference) return { startMs: undefined, offsets };
  const startMs = Math.min(...meeting.map(([, p]) => p!.startMs));
  for (const [name] of placements) offsets.set(name, Math.round(((reference.startMs - startMs) / 1000) * sampleRateHz));
  for (const [name, p] of meeting) offsets.set(name, Math.round(((p!.startMs - startMs) / 1000) * sampleRateHz));
  return { startMs, offsets };
}

function buildTracks(recorder: string, own: readonly Assignment[], placement: Placement | undefined, offsetFrame: number, sampleRateHz: number): StudyTrack[] {
  return [...groupBy(own, (a) => a.bird)].map(([bird, files]) => {
    const placed = files.map((a) => ({ path: a.file.path, channel: a.channel, startFrame: (placement?.startFrames.get(a.file.path) ?? 0) + offsetFrame }));
    // Without any time, files follow one another in the order in which people count.
    placed.sort((a, b) => a.startFrame - b.startFrame || compareNaturally(a.path, b.path));
    return {
      bird,
      recorder,
      files: placed.map(({ path, channel, startFrame }) => ({ path, channel, ...(placement || offsetFrame > 0 ? { start_s: startFrame / sampleRateHz } : {}) })),
    };
  });
}
