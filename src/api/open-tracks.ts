import { createMemoryReader } from '../audio/memory-reader.js';
import type { AudioReader } from '../audio/types.js';
import { VolaryError } from '../schema/errors.js';
import { requireSense, type StudyManifest } from '../study/manifest.js';
import { buildTimeline } from '../study/timeline.js';
import type { OpenedStudy } from './attribute-opened.js';

/** Tracks that are in memory already, one per bird, all starting together on their recorders' clocks. */
export interface TracksInput {
  /** Name of the wearer of every track. */
  birds: readonly string[];
  /** Samples of every track, full scale = 1. */
  signals: readonly Float32Array[];
  sampleRateHz: number;
  /** Recorder of every track; the first named is the reference clock. Without it all tracks share one clock. */
  recorders?: readonly string[];
  /** When the tracks start, RFC 3339 in UTC: fills `onset_utc`. */
  startUtc?: string;
  /** Lowest and highest frequency of the calls, Hz. */
  bandHz?: [number, number];
  /** Shortest and longest call, seconds. */
  callSec?: [number, number];
  /** Name of the study. */
  name?: string;
}

const ONLY_RECORDER = '1';

/**
 * Makes a study of tracks in memory.
 * @throws VolaryError 'bad-study' naming what does not fit together
 */
export function openTracks(input: TracksInput): OpenedStudy {
  const { birds, signals, sampleRateHz } = input;
  const refuse = (what: string, got: string | number, expected: string): never => {
    throw new VolaryError('bad-study', { where: 'tracks in memory', what, got: String(got), expected });
  };
  if (signals.length !== birds.length) refuse('not one signal per bird', `${signals.length} signals`, `${birds.length}`);
  if (input.recorders && input.recorders.length !== birds.length) refuse('not one recorder per bird', `${input.recorders.length} recorders`, `${birds.length}`);
  if (!Number.isInteger(sampleRateHz) || sampleRateHz <= 0) refuse('wrong sample rate', sampleRateHz, 'a whole number of Hz');
  if (input.startUtc !== undefined && !/^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}(\.\d+)?Z$/.test(input.startUtc)) refuse('no such time', input.startUtc, 'RFC 3339 in UTC such as 2024-05-01T06:00:00Z');
  for (const name of [...birds, ...(input.recorders ?? [])]) if (name === '' || name !== name.trim()) refuse('not a name', JSON.stringify(name), 'text without blanks around it');
  const manifest = requireSense(buildManifest(input), 'tracks in memory');
  const open = (path: string): AudioReader => createMemoryReader(path, [signals[birds.indexOf(path)]], sampleRateHz);
  const headers = new Map(birds.map((bird) => [bird, { info: open(bird).info }]));
  return { manifest, timeline: buildTimeline(manifest, headers), openReader: async (path) => open(path) };
}

function buildManifest(input: TracksInput): StudyManifest {
  const recorderOf = (k: number): string => input.recorders?.[k] ?? ONLY_RECORDER;
  const settings = { ...(input.bandHz ? { band_hz: input.bandHz } : {}), ...(input.callSec ? { call_s: input.callSec } : {}) };
  return {
    volary: 1, name: input.name ?? 'tracks', ...(input.startUtc ? { start: input.startUtc } : {}),
    recorders: [...new Set(input.birds.map((_, k) => recorderOf(k)))].map((name) => ({ name })),
    tracks: input.birds.map((bird, k) => ({ bird, recorder: recorderOf(k), files: [{ path: bird, channel: 1 }] })),
    ...(input.bandHz || input.callSec ? { settings } : {}),
  };
}
