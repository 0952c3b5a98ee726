import type { ClockModel } from '../model/clock.js';
import type { SeparationCall } from '../separate/plan-pieces.js';
import type { TrackSound } from '../separate/guard-wearer.js';
import type { SeparationInput } from '../separate/separate-tracks.js';
import type { SeparationSettings } from '../separate/settings.js';
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

function makeSource(audio: StudyAudio): (startFrames: readonly number[], frameCount: number) => Promise<Float32Array[]> {
  const { tracks, recorders } = audio.timeline;
  return async (startFrames, frameCount) => {
    const into = tracks.map(() => new Float32Array(frameCount));
    const starts = recorders.map((_, r) => startFrames[tracks.findIndex((t) => t.recorderIndex === r)] ?? 0);
    await audio.readTracks(starts, frameCount, into);
    return into;
  };
}
