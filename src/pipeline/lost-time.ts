/** How much of every track is no use: not recorded, damaged, or its link down (noise of a receiver, or nothing that moves at all). */
import type { AnalysisSettings } from '../evidence/settings.js';
import { readOffset, toReference } from '../model/clock.js';
import type { Timeline } from '../study/timeline.js';
import type { Calibration } from './calibrate.js';
import type { StillRun } from './still-runs.js';

/** Seconds per track and hour of the study on the reference clock. */
export class LostTime {
  private readonly hours: Float64Array[];
  /** Per track: seconds that its files should hold but that could not be read. */
  readonly damagedSec: number[];

  constructor(private readonly timeline: Timeline, settings: AnalysisSettings, private readonly hourSec: number, calibration: Pick<Calibration, 'clock' | 'gaps' | 'still'>) {
    const { tracks, durationSec } = timeline;
    this.hours = tracks.map(() => new Float64Array(Math.max(1, Math.ceil(durationSec / hourSec))));
    this.damagedSec = tracks.map(() => 0);
    const fs = settings.sampleRateHz;
    const addRun = ({ trackIndex, startFrame, frameCount }: StillRun): number => {
      const clock = calibration.clock[tracks[trackIndex].recorderIndex];
      return this.add(trackIndex, toReference(clock, startFrame / fs), toReference(clock, (startFrame + frameCount) / fs));
    };
    for (const g of calibration.gaps) {
      const sec = addRun(g);
      if (g.reason !== 'no-file') this.damagedSec[g.trackIndex] += sec;
    }
    // The file is whole there, but its link is down.
    for (const run of calibration.still) addRun(run);
    // Before a recorder began and after it ended by the reference clock.
    tracks.forEach((track, j) => {
      const clock = calibration.clock[track.recorderIndex];
      this.add(j, 0, -readOffset(clock, 0));
      this.add(j, durationSec - readOffset(clock, durationSec), durationSec);
    });
  }

  /** Adds a stretch of reference time; what lies outside the study does not count. Returns the seconds that do. */
  add(track: number, fromSec: number, toSec: number): number {
    const from = Math.max(0, fromSec), to = Math.min(this.timeline.durationSec, toSec);
    const hours = this.hours[track];
    for (let h = Math.floor(from / this.hourSec); h < hours.length && h * this.hourSec < to; h++) {
      hours[h] += Math.max(0, Math.min(to, (h + 1) * this.hourSec) - Math.max(from, h * this.hourSec));
    }
    return Math.max(0, to - from);
  }

  read(track: number, hour: number): number {
    return this.hours[track][hour];
  }
}
