import { quoteName } from '../schema/errors.js';
import { parseNamedTime, readBroadcastTime } from './file-times.js';
import type { FileTime } from './file-times.js';
import { lastPart, removeExtension } from './found-files.js';
import type { StudyManifest } from './manifest.js';
import { groupBy } from './name-tracks.js';
import { findToleranceSec } from './place-files.js';
import type { FileHeader, Problem, Segment, Timeline } from './timeline.js';

/**
 * What headers and names alone give away: steps of the clock between the files of a track, disagreement of names and headers, changes
 * of format, channels that no bird wears.
 */
export function checkFiles(manifest: StudyManifest, headers: ReadonlyMap<string, FileHeader>, timeline: Timeline): Problem[] {
  return [
    ...timeline.tracks.flatMap((t) => [...findClockSteps(t.bird, t.segments, headers, timeline.sampleRateHz), ...findFormatChanges(t.bird, t.segments, headers)]),
    ...findTimeConflicts(headers),
    ...findMixedFormats(timeline, headers),
    ...findUnusedChannels(manifest, headers),
  ];
}

/** Compares how far apart two files are told to start with how far apart the study places them. */
function findClockSteps(bird: string, segments: readonly Segment[], headers: ReadonlyMap<string, FileHeader>, sampleRateHz: number): Problem[] {
  const problems: Problem[] = [];
  for (const source of [timeInName, timeInHeader]) {
    const told = segments.map((s) => source(s.path, headers));
    for (let i = 1; i < segments.length; i++) {
      const [a, b] = [told[i - 1], told[i]];
      if (!a || !b) continue;
      const placedSec = (segments[i].startFrame - segments[i].fileFrame - segments[i - 1].startFrame + segments[i - 1].fileFrame) / sampleRateHz;
      const stepSec = (b.timeMs - a.timeMs) / 1000 - placedSec;
      if (Math.abs(stepSec) <= findToleranceSec(a, b, placedSec)) continue;
      problems.push({
        severity: 'warning', kind: 'clock-step', bird, path: segments[i].path, startSec: segments[i].startFrame / sampleRateHz, durationSec: Math.abs(stepSec),
        text: `${quoteName(bird)}: by its ${source === timeInName ? 'name' : 'header'}, ${quoteName(segments[i].path)} starts ${Math.abs(stepSec).toFixed(2)} s ${stepSec > 0 ? 'later' : 'earlier'} than the study places it after ${quoteName(segments[i - 1].path)}`,
      });
    }
  }
  return problems;
}

function timeInName(path: string): FileTime | undefined {
  const folders = path.split('/');
  return parseNamedTime(removeExtension(lastPart(path)), folders[folders.length - 2]);
}

function timeInHeader(path: string, headers: ReadonlyMap<string, FileHeader>): FileTime | undefined {
  const header = headers.get(path);
  return header && 'info' in header ? readBroadcastTime(header.info) : undefined;
}

function findTimeConflicts(headers: ReadonlyMap<string, FileHeader>): Problem[] {
  const conflicts: { path: string; differenceSec: number }[] = [];
  for (const path of headers.keys()) {
    const [named, inside] = [timeInName(path), timeInHeader(path, headers)];
    if (!named || !inside || named.hasZone) continue;
    const differenceSec = (named.timeMs - inside.timeMs) / 1000;
    if (Math.abs(differenceSec) > Math.max(2, named.stepSec)) conflicts.push({ path, differenceSec });
  }
  if (conflicts.length === 0) return [];
  const { path, differenceSec } = conflicts[0];
  return [{
    severity: 'warning', kind: 'clock-step', bird: '', path,
    text: `the time in the name and the time in the header disagree in ${conflicts.length} of ${headers.size} files, first ${quoteName(path)} by ${differenceSec.toFixed(1)} s`,
  }];
}

function describeFormat(path: string, headers: ReadonlyMap<string, FileHeader>): string {
  const header = headers.get(path);
  return header && 'info' in header ? `${header.info.container} ${header.info.validBits} bit${header.info.sampleFormat === 'float' ? ' float' : ''}` : '';
}

function findFormatChanges(bird: string, segments: readonly Segment[], headers: ReadonlyMap<string, FileHeader>): Problem[] {
  for (let i = 1; i < segments.length; i++) {
    const [before, now] = [segments[i - 1], segments[i]].map((s) => describeFormat(s.path, headers));
    if (before === now) continue;
    return [{ severity: 'note', kind: 'format', bird, path: segments[i].path, text: `${quoteName(bird)} changes format at ${quoteName(segments[i].path)}: ${before} before, ${now} from there` }];
  }
  return [];
}

function findMixedFormats(timeline: Timeline, headers: ReadonlyMap<string, FileHeader>): Problem[] {
  const formats = groupBy(timeline.tracks.filter((t) => t.segments.length > 0), (t) => describeFormat(t.segments[0].path, headers));
  if (formats.size < 2) return [];
  const text = [...formats].map(([format, own]) => `${format} on ${own.slice(0, 3).map((t) => quoteName(t.bird)).join(', ')}${own.length > 3 ? ', ...' : ''}`).join('; ');
  return [{ severity: 'note', kind: 'format', bird: '', text: `tracks differ in format: ${text}` }];
}

function findUnusedChannels(manifest: StudyManifest, headers: ReadonlyMap<string, FileHeader>): Problem[] {
  const used = new Map<string, Set<number>>();
  for (const t of manifest.tracks) for (const f of t.files) used.set(f.path, (used.get(f.path) ?? new Set()).add(f.channel));
  const free: string[] = [];
  for (const [path, channels] of used) {
    const header = headers.get(path);
    if (header && 'info' in header && header.info.channelCount > channels.size) free.push(`${quoteName(path)} (${channels.size} of ${header.info.channelCount})`);
  }
  if (free.length === 0) return [];
  return [{ severity: 'note', kind: 'unused-channel', bird: '', text: `not all channels belong to a bird in ${free.length} files: ${free[0]}${free.length > 1 ? ', ...' : ''}` }];
}
