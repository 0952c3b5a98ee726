/** What a live run is made of: inputs, tracks and how they become the timeline that the stages read from. */
import type { SettingsRequest } from '../evidence/settings.js';
import { quoteName, VolaryError } from '../schema/errors.js';
import type { StudyManifest } from '../study/manifest.js';
import { StudyAudio } from '../study/study-audio.js';
import type { Timeline } from '../study/timeline.js';
import { createRingReader, ENDLESS_FRAMES, type FrameRing, type LiveCoding } from './frame-ring.js';

/** One stream of interleaved samples. */
export interface LiveInput {
  /** Path, or '-' for standard input. */
  path: string;
  channelCount: number;
  coding: LiveCoding;
  sampleRateHz: number;
}

export interface LiveTrack {
  bird: string;
  /** Index into `recorders`; 0 is the reference clock. */
  recorderIndex: number;
  /** Index into `inputs`. */
  input: number;
  /** The first channel is 0. */
  channel: number;
}

export interface LiveSetup {
  sampleRateHz: number;
  recorders: string[];
  inputs: LiveInput[];
  /** Per input, the frame of its recorder's clock at which it begins. */
  originFrames: number[];
  tracks: LiveTrack[];
  startUtc?: string;
  request: SettingsRequest;
}

/**
 * Fits a study to the inputs that its files turned out to be.
 * @param inputs one per path of the manifest, in the order of `listInputPaths`
 * @throws VolaryError 'not-fit' where they do not go together
 */
export function planLive(manifest: StudyManifest, inputs: LiveInput[]): LiveSetup {
  const refuse = (where: string, what: string, got: string, expected: string): never => { throw new VolaryError('not-fit', { where, what, got, expected }); };
  const paths = listInputPaths(manifest);
  const sampleRateHz = inputs[0].sampleRateHz;
  for (const input of inputs) {
    if (input.sampleRateHz !== sampleRateHz) refuse(quoteName(input.path), 'all inputs need one sample rate', `${input.sampleRateHz} Hz`, `${sampleRateHz} Hz as in ${quoteName(inputs[0].path)}`);
  }
  if (manifest.tracks.length < 2) refuse('tracks', 'attribution compares tracks', `${manifest.tracks.length}`, 'at least two');
  const originFrames = inputs.map(() => 0);
  const tracks = manifest.tracks.map((track) => {
    const [file] = track.files;
    const input = paths.indexOf(file.path);
    if (file.channel > inputs[input].channelCount) {
      refuse(quoteName(inputs[input].path), `has no channel ${file.channel} for ${quoteName(track.bird)}`, `${inputs[input].channelCount} channels`, 'a channel for every bird');
    }
    originFrames[input] = Math.round((file.start_s ?? 0) * sampleRateHz);
    return { bird: track.bird, recorderIndex: manifest.recorders.findIndex((r) => r.name === track.recorder), input, channel: file.channel - 1 };
  });
  if (!tracks.some((t) => t.recorderIndex === 0)) refuse('tracks', `no track on ${quoteName(manifest.recorders[0].name)}, the first recorder named`, 'no reference clock', 'a track on it');
  return {
    sampleRateHz, inputs, originFrames, tracks, recorders: manifest.recorders.map((r) => r.name), startUtc: manifest.start,
    request: { bandHz: manifest.settings?.band_hz, callSec: manifest.settings?.call_s },
  };
}

/**
 * The files of a study, each once: one per track, as they are being written.
 * @throws VolaryError 'not-fit' for tracks of several files
 */
export function listInputPaths(manifest: StudyManifest): string[] {
  for (const track of manifest.tracks) {
    if (track.files.length === 1) continue;
    throw new VolaryError('not-fit', {
      where: quoteName(track.bird), what: 'a live track is one file that is being written', got: `${track.files.length} files`, expected: '1', mend: 'name the newest file alone',
    });
  }
  return [...new Set(manifest.tracks.map((t) => t.files[0].path))];
}

/** The same tracks as if one recorder had made them all, for recorders that never hear the same: their times stand as the study gives them. */
export function joinRecorders(setup: LiveSetup): LiveSetup {
  return { ...setup, recorders: setup.recorders.slice(0, 1), tracks: setup.tracks.map((t) => ({ ...t, recorderIndex: 0 })) };
}

/** The tracks of a live run as a timeline without end, read from the rings; its time 0 is frame `zeroFrame` of every recorder's clock. */
export function openLiveAudio(setup: LiveSetup, rings: readonly FrameRing[], zeroFrame = 0): StudyAudio {
  const { sampleRateHz, recorders } = setup;
  const timeline: Timeline = {
    sampleRateHz, recorders, frameCount: ENDLESS_FRAMES, durationSec: ENDLESS_FRAMES / sampleRateHz, problems: [],
    tracks: setup.tracks.map((t) => {
      const start = Math.max(rings[t.input].originFrame, zeroFrame);
      return {
        bird: t.bird, recorder: recorders[t.recorderIndex], recorderIndex: t.recorderIndex, sampleRateHz,
        segments: [{ path: String(t.input), channel: t.channel, startFrame: start - zeroFrame, fileFrame: start, frameCount: ENDLESS_FRAMES - start }],
      };
    }),
  };
  return new StudyAudio(timeline, async (path) => createRingReader(setup.inputs[Number(path)].path, rings[Number(path)], sampleRateHz));
}
