import { createZeroClock, readOffset } from '../model/clock.js';
import type { ClockModel } from '../model/clock.js';
import type { ClockRow } from '../schema/rows.js';
import type { StudyAudio } from '../study/study-audio.js';
import type { SliceRequest } from './study-info.js';

/** Clocks of all recorders from the rows of the clock table; a recorder without rows counts as the reference clock. */
export function buildClockModel(recorders: readonly string[], rows: readonly ClockRow[]): ClockModel {
  const clock = createZeroClock(recorders.length);
  recorders.forEach((recorder, r) => {
    const own = rows.filter((row) => row.recorder === recorder).sort((a, b) => a.tRefSec - b.tRefSec);
    if (own.length) clock[r] = { knotSec: own.map((o) => o.tRefSec), offsetSec: own.map((o) => o.offsetSec), uncertaintySec: own.map((o) => o.uncertaintySec) };
  });
  return clock;
}

/**
 * Reads slices of tracks, shifted to the reference clock to the nearest frame. Zeros where there is no sound.
 * @returns samples [slice][track of the request][frame]
 */
export async function readSlices(audio: StudyAudio, clock: ClockModel, request: SliceRequest): Promise<Float32Array> {
  const { startSec, sliceFrames, stepSec, sliceCount, tracks } = request;
  const { sampleRateHz } = audio.timeline;
  const out = new Float32Array(sliceCount * tracks.length * sliceFrames);
  const into: (Float32Array | null)[] = audio.timeline.tracks.map(() => null);
  for (let s = 0; s < sliceCount; s++) {
    const atSec = startSec + s * stepSec;
    const starts = clock.map((c) => Math.round((atSec + readOffset(c, atSec)) * sampleRateHz));
    tracks.forEach((track, k) => {
      const from = (s * tracks.length + k) * sliceFrames;
      into[track] = out.subarray(from, from + sliceFrames);
    });
    await audio.readTracks(starts, sliceFrames, into);
  }
  return out;
}
