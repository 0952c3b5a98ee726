import type { ClockRow } from '../schema/rows.js';
import type { StudyAudio } from '../study/study-audio.js';

/** All tracks of a stretch, each shifted to the reference clock to the nearest frame. */
export interface AlignedStretch {
  signals: Float32Array[];
  frameCount: number;
  /** Per track: true time of its first frame minus that of the stretch, seconds, less than half a frame either way. */
  restSec: number[];
}

/** Reads all tracks from `startSec` on the reference clock; recorders are shifted by the clock table. */
export async function readAligned(audio: StudyAudio, clock: readonly ClockRow[], startSec: number, frameCount: number): Promise<AlignedStretch> {
  const { sampleRateHz, recorders, tracks } = audio.timeline;
  const middleSec = startSec + frameCount / sampleRateHz / 2;
  const wantedFrames = recorders.map((recorder) => (startSec + findOffset(clock, recorder, middleSec)) * sampleRateHz);
  const startFrames = wantedFrames.map((f) => Math.round(f));
  const signals = tracks.map(() => new Float32Array(frameCount));
  await audio.readTracks(startFrames, frameCount, signals);
  return { signals, frameCount, restSec: tracks.map((t) => (startFrames[t.recorderIndex] - wantedFrames[t.recorderIndex]) / sampleRateHz) };
}

/** File time minus reference time of a recorder: linear between the rows of the table, continued at the ends by the rate; 0 for the reference. */
export function findOffset(clock: readonly ClockRow[], recorder: string, tRefSec: number): number {
  const rows = clock.filter((row) => row.recorder === recorder).sort((a, b) => a.tRefSec - b.tRefSec);
  if (!rows.length) return 0;
  const after = rows.findIndex((row) => row.tRefSec > tRefSec);
  if (after > 0) {
    const a = rows[after - 1];
    const b = rows[after];
    return a.offsetSec + ((b.offsetSec - a.offsetSec) * (tRefSec - a.tRefSec)) / (b.tRefSec - a.tRefSec);
  }
  const end = after === 0 ? rows[0] : rows[rows.length - 1];
  return end.offsetSec + (Number.isFinite(end.ppm) ? end.ppm * 1e-6 : 0) * (tRefSec - end.tRefSec);
}
