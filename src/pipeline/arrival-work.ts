/** Lags of chosen calls between recorders, over a wider reach than frames have and with their rivals: what clocks are fitted on. */
import { ArrivalMeter } from '../evidence/arrivals.js';
import type { AnalysisSettings } from '../evidence/settings.js';
import { readOffset, type ClockModel } from '../model/clock.js';
import type { CallArrival, ChosenCall } from '../model/clock-readings.js';
import type { StudyAudio } from '../study/study-audio.js';

export interface ArrivalTask {
  /** The clock that sound is aligned with. */
  clock: ClockModel;
  calls: ChosenCall[];
}

/** The largest room and what a coarse clock may be off, seconds. */
const REACH_SEC = 0.02;
/** Around a call, for its edges. */
const MARGIN_SEC = 0.004;

export class ArrivalWorker {
  private readonly meter: ArrivalMeter;
  private readonly buffers: Float32Array[];

  constructor(private readonly audio: StudyAudio, private readonly settings: AnalysisSettings) {
    this.meter = new ArrivalMeter(settings.sampleRateHz, settings.bandHz, REACH_SEC);
    this.buffers = audio.timeline.tracks.map(() => new Float32Array(this.meter.size));
  }

  async measure(task: ArrivalTask): Promise<CallArrival[]> {
    const out: CallArrival[] = [];
    for (const call of task.calls) out.push(...(await this.measureCall(call, task.clock)));
    return out;
  }

  private async measureCall(call: ChosenCall, clock: ClockModel): Promise<CallArrival[]> {
    const { meter, settings } = this;
    const { tracks } = this.audio.timeline;
    const fs = settings.sampleRateHz;
    const fromSec = call.onsetSec - MARGIN_SEC;
    const frames = Math.min(meter.mostFrames, Math.round((call.offsetSec - call.onsetSec + 3 * MARGIN_SEC) * fs));
    const middleSec = fromSec + frames / fs / 2;
    const starts = clock.map((c) => Math.round((fromSec + readOffset(c, middleSec)) * fs) - meter.reachFrames);
    const home = tracks[call.track].recorderIndex;
    const others = tracks.map((_, j) => j).filter((j) => tracks[j].recorderIndex !== home);
    await this.audio.readTracks(starts, meter.size, this.buffers.map((b, j) => (j === call.track || others.includes(j) ? b : null)));
    const own = this.buffers[call.track];
    own.fill(0, 0, meter.reachFrames);
    own.fill(0, meter.reachFrames + frames);
    const peaks = meter.measure(own, others.map((j) => this.buffers[j]));
    return others.flatMap((to, k) => peaks[k].map(({ lagFrames, height }): CallArrival => ({
      tSec: call.onsetSec, from: call.track, to, lagSec: (lagFrames + starts[tracks[to].recorderIndex] - starts[home]) / fs, nearSec: lagFrames / fs, height,
    })));
  }
}
