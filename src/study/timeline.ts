import { quoteName } from '../schema/errors.js';
import type { AudioInfo } from '../audio/types.js';
import type { StudyManifest, StudyTrack } from './manifest.js';

/** What is known of a file before any sample is read: its header, or one line that says why it cannot be used. */
export type FileHeader = { info: AudioInfo } | { failure: string };

/** A stretch of a file on the recorder's clock; frames half-open. */
export interface Segment {
  path: string;
  /** The first channel is 0. */
  channel: number;
  /** On the recorder's clock, since the study's start. */
  startFrame: number;
  /** First frame of the stretch in the file. */
  fileFrame: number;
  frameCount: number;
}

export interface TrackTimeline {
  bird: string;
  recorder: string;
  /** Index into Timeline.recorders; 0 is the reference clock. */
  recorderIndex: number;
  sampleRateHz: number;
  /** Sorted, without overlaps. */
  segments: Segment[];
}

export type ProblemKind =
  | 'unreadable' | 'header' | 'rate' | 'channel' | 'empty' | 'overlap' | 'gap' | 'duplicate' | 'unequal' | 'no-reference' | 'start' | 'no-track'
  | 'clock-step' | 'format' | 'unused-channel' | 'silence' | 'dropout' | 'clipping' | 'dc' | 'hum' | 'steady' | 'level' | 'noise' | 'lost' | 'not-finite' | 'single';

export interface Problem {
  /** error: data cannot be used or trusted; warning: worth a look; note: for the record. */
  severity: 'error' | 'warning' | 'note';
  kind: ProblemKind;
  /** Bird whose track is meant, '' for the whole study. */
  bird: string;
  path?: string;
  /** One line that stands alone. */
  text: string;
  /** On the recorder's clock. */
  startSec?: number;
  durationSec?: number;
}

/** Which file holds which track at which moment. Holds the tracks that can be used; the others are named in `problems`. */
export interface Timeline {
  sampleRateHz: number;
  recorders: string[];
  tracks: TrackTimeline[];
  /** End of the longest track, from the study's start. */
  durationSec: number;
  frameCount: number;
  problems: Problem[];
}

/**
 * Lays out all tracks of a study on their recorders' clocks from the headers of their files (by path as in the manifest).
 * A file or track that cannot be used becomes a problem that names it; where two files of a track overlap, the earlier one is used.
 * @example const timeline = buildTimeline(manifest, new Map([['a.wav', { info: reader.info }]]))
 */
export function buildTimeline(manifest: StudyManifest, headers: ReadonlyMap<string, FileHeader>): Timeline {
  const problems: Problem[] = [];
  const recorders = manifest.recorders.map((r) => r.name);
  reportHeaderWarnings(manifest, headers, problems);
  const laid = manifest.tracks.map((track) => layTrack(track, recorders.indexOf(track.recorder), headers, problems));
  const sampleRateHz = findMajorityRate(laid.filter((t) => t !== undefined));
  const tracks = laid.filter((t): t is TrackTimeline => {
    if (t === undefined) return false;
    if (t.sampleRateHz === sampleRateHz) return true;
    problems.push({
      severity: 'error', kind: 'rate', bird: t.bird, path: t.segments[0].path,
      text: `${quoteName(t.bird)} cannot be used: ${quoteName(t.segments[0].path)} has ${t.sampleRateHz} Hz; expected ${sampleRateHz} Hz as on most tracks`,
    });
    return false;
  });
  reportSharedChannels(tracks, problems);
  reportUnequalEnds(tracks, problems);
  if (tracks.length > 0 && !tracks.some((t) => t.recorderIndex === 0)) {
    problems.push({ severity: 'error', kind: 'no-reference', bird: '', text: `no usable track on ${quoteName(recorders[0])}, the first recorder named: there is no reference clock` });
  }
  if (tracks.length === 0) problems.push({ severity: 'error', kind: 'no-track', bird: '', text: 'no track can be used' });
  const frameCount = Math.max(0, ...tracks.map(findEndFrame));
  return { sampleRateHz, recorders, tracks, frameCount, durationSec: sampleRateHz > 0 ? frameCount / sampleRateHz : 0, problems };
}

/** First frame after the last segment of a track. */
export function findEndFrame(track: TrackTimeline): number {
  const last = track.segments[track.segments.length - 1];
  return last ? last.startFrame + last.frameCount : 0;
}

function layTrack(track: StudyTrack, recorderIndex: number, headers: ReadonlyMap<string, FileHeader>, problems: Problem[]): TrackTimeline | undefined {
  const bird = track.bird;
  const usable = findUsableFiles(track, headers, problems);
  if (usable.length === 0) {
    problems.push({ severity: 'error', kind: 'no-track', bird, text: `${quoteName(bird)} cannot be used: none of its files can` });
    return undefined;
  }
  const sampleRateHz = findMajorityRate(usable.map((f) => ({ sampleRateHz: f.info.sampleRateHz, weight: f.info.frameCount })));
  const segments: Segment[] = [];
  let followFrame = 0;
  for (const { path, channel, startSec, info } of usable) {
    if (info.sampleRateHz !== sampleRateHz) {
      problems.push({
        severity: 'error', kind: 'rate', bird, path,
        text: `${quoteName(path)} cannot be used: it has ${info.sampleRateHz} Hz; expected ${sampleRateHz} Hz as in the other files of ${quoteName(bird)}`,
      });
      continue;
    }
    const startFrame = startSec === undefined ? followFrame : Math.round(startSec * sampleRateHz);
    segments.push({ path, channel: channel - 1, startFrame, fileFrame: 0, frameCount: info.frameCount });
    followFrame = startFrame + info.frameCount;
  }
  segments.sort((a, b) => a.startFrame - b.startFrame);
  const kept = resolveOverlaps(segments, bird, sampleRateHz, problems);
  return { bird, recorder: track.recorder, recorderIndex, sampleRateHz, segments: kept };
}

interface UsableFile { path: string; channel: number; startSec: number | undefined; info: AudioInfo }

function findUsableFiles(track: StudyTrack, headers: ReadonlyMap<string, FileHeader>, problems: Problem[]): UsableFile[] {
  const usable: UsableFile[] = [];
  let isOpen = false;
  for (const file of track.files) {
    const refuse = (kind: ProblemKind, text: string): void => {
      problems.push({ severity: 'error', kind, bird: track.bird, path: file.path, text });
      isOpen = true;
    };
    const header = headers.get(file.path) ?? { failure: `${quoteName(file.path)}: was not looked at` };
    if ('failure' in header) refuse('unreadable', header.failure);
    else if (file.channel > header.info.channelCount) {
      refuse('channel', `${quoteName(file.path)} has no channel ${file.channel} for ${quoteName(track.bird)}; got ${header.info.channelCount}`);
    } else if (header.info.frameCount === 0) refuse('empty', `${quoteName(file.path)} holds no sound`);
    else if (isOpen && file.start_s === undefined) {
      refuse('start', `${quoteName(file.path)} cannot be placed: it has no start_s and the file before it cannot be used`);
    } else {
      usable.push({ path: file.path, channel: file.channel, startSec: file.start_s, info: header.info });
      isOpen = false;
    }
  }
  return usable;
}

function resolveOverlaps(sorted: Segment[], bird: string, sampleRateHz: number, problems: Problem[]): Segment[] {
  const kept: Segment[] = [];
  let endFrame = 0;
  let before: Segment | undefined;
  for (const s of sorted) {
    const startSec = Math.min(s.startFrame, endFrame) / sampleRateHz;
    if (before && s.startFrame < endFrame) {
      const overlap = Math.min(endFrame - s.startFrame, s.frameCount);
      problems.push({
        severity: 'warning', kind: 'overlap', bird, path: s.path, startSec: s.startFrame / sampleRateHz, durationSec: overlap / sampleRateHz,
        text: `${quoteName(s.path)} starts ${showSec(overlap / sampleRateHz)} s before ${quoteName(before.path)} ends; used the earlier file there`,
      });
      if (overlap === s.frameCount) continue;
      kept.push({ ...s, startFrame: endFrame, fileFrame: overlap, frameCount: s.frameCount - overlap });
    } else {
      if (before && s.startFrame > endFrame) {
        problems.push({
          severity: 'warning', kind: 'gap', bird, path: s.path, startSec, durationSec: (s.startFrame - endFrame) / sampleRateHz,
          text: `${quoteName(bird)} has a gap of ${showSec((s.startFrame - endFrame) / sampleRateHz)} s between ${quoteName(before.path)} and ${quoteName(s.path)}`,
        });
      }
      kept.push({ ...s });
    }
    endFrame = s.startFrame + s.frameCount;
    before = s;
  }
  return kept;
}

function findMajorityRate(tracks: readonly { sampleRateHz: number; weight?: number }[]): number {
  const votes = new Map<number, number>();
  for (const t of tracks) votes.set(t.sampleRateHz, (votes.get(t.sampleRateHz) ?? 0) + (t.weight ?? 1));
  let best = 0;
  // Insertion order decides ties: the rate met first wins.
  for (const [rate, count] of votes) if (best === 0 || count > votes.get(best)!) best = rate;
  return best;
}

function reportHeaderWarnings(manifest: StudyManifest, headers: ReadonlyMap<string, FileHeader>, problems: Problem[]): void {
  const seen = new Set<string>();
  for (const track of manifest.tracks) {
    for (const { path } of track.files) {
      const header = headers.get(path);
      if (seen.has(path) || !header || 'failure' in header) continue;
      seen.add(path);
      for (const w of header.info.warnings) {
        problems.push({ severity: 'warning', kind: 'header', bird: track.bird, path, text: `${quoteName(path)}: ${w}` });
      }
    }
  }
}

function reportSharedChannels(tracks: readonly TrackTimeline[], problems: Problem[]): void {
  const owner = new Map<string, string>();
  for (const t of tracks) {
    for (const s of t.segments) {
      const key = `${s.channel}\n${s.path}`;
      const other = owner.get(key);
      if (other !== undefined) {
        const shared = other === t.bird ? `is listed twice for ${quoteName(t.bird)}` : `is given to both ${quoteName(other)} and ${quoteName(t.bird)}`;
        problems.push({ severity: 'error', kind: 'duplicate', bird: t.bird, path: s.path, text: `channel ${s.channel + 1} of ${quoteName(s.path)} ${shared}` });
      }
      owner.set(key, t.bird);
    }
  }
}

/** Tracks of one recorder start and stop together; a shorter one has lost something. */
function reportUnequalEnds(tracks: readonly TrackTimeline[], problems: Problem[]): void {
  for (const recorder of new Set(tracks.map((t) => t.recorder))) {
    const own = tracks.filter((t) => t.recorder === recorder);
    const lastFrame = Math.max(...own.map(findEndFrame));
    for (const t of own) {
      const missing = lastFrame - findEndFrame(t);
      if (missing === 0) continue;
      problems.push({
        severity: 'warning', kind: 'unequal', bird: t.bird, startSec: findEndFrame(t) / t.sampleRateHz, durationSec: missing / t.sampleRateHz,
        text: `${quoteName(t.bird)} ends ${showSec(missing / t.sampleRateHz)} s (${missing} frames) before the longest track of recorder ${quoteName(recorder)}`,
      });
    }
  }
}

function showSec(durationSec: number): string {
  return durationSec >= 0.001 ? durationSec.toFixed(3) : durationSec.toPrecision(2);
}
