import type { ClockModel } from '../model/clock.js';
import type { SeparationCall } from '../separate/plan-pieces.js';
import type { TrackSound } from '../separate/guard-wearer.js';
import type { SeparationInput } from '../separate/separate-tracks.js';
import type { SeparationSettings } from '../separate/settings.js';
import type { TrackSource } from '../separate/track-loader.js';
import type { StudyAudio } from '../study/study-audio.js';
import { findEndFrame } from '../study/timeline.js';
import { loadKernelsFile } from './kernels-file.js';

/** What is to be separated, beside the study itself; can be sent to a worker. */
export interface SeparationTask { calls: readonly SeparationCall[]; sounds: readonly TrackSound[]; clock: ClockModel; changes?: Partial<SeparationSettings> }

/** Input of separation for an opened study. */
export async function describeSeparation(audio: StudyAudio, task: SeparationTask): Promise<SeparationInput> {
  const { timeline } = audio;
  return {
    ...task, kernels: await loadKernelsFile(), sampleRateHz: timeline.sampleRateHz, endFrames: timeline.tracks.map(findEndFrame),
    recorderOf: timeline.tracks.map((t) => t.recorderIndex), read: makeSource(audio),
  };
}

function makeSource(audio: StudyAudio): TrackSource {
  const { tracks, recorders } = audio.timeline, firstOf = recorders.map((_, r) => tracks.findIndex((t) => t.recorderIndex === r));
  return async (startFrames, frameCount, wanted, into) => (await audio.readPcm(firstOf.map((j) => startFrames[j] ?? 0), frameCount, into, wanted)).runs;
}
