import type { FloorSpectrum } from '../evidence/floors.js';
import { countTaps } from '../evidence/noise-filter.js';
import type { AnalysisSettings } from '../evidence/settings.js';
import { createKernels } from '../kernels/kernels.js';
import { countSurveyBytes, SLOT_HOPS, SurveyKernels, type SurveyShape } from '../kernels/survey-kernels.js';
import { readOffset, type ClockModel } from '../model/clock.js';
import { bandNoise } from '../pipeline/survey-cell.js';
import type { StudyAudio } from '../study/study-audio.js';
import type { NoiseState } from './floor-keeper.js';

/** What a step of sound looks like before any spectrum is taken. */
export interface StepActivity {
  /** Per slot, 1 where some track may hold more than noise. */
  active: Uint8Array;
  /** Per track, whether all of the step lies far below the track's noise. */
  isSilent: boolean[];
}

/** Band energy over the floor from which a hop counts as active, and what the tracks of a recorder may hold over theirs together: as in the survey. */
const LEAST_RATIO = 2;
const LEAST_TOGETHER = 2;
const SHARED_FROM = 4;
/** A track 20 dB below its own noise in every hop holds no sound of its receiver. Common practice, no source. */
const SILENT_RATIO = 0.01;

/** Looks where in the newest sound there may be more than noise, on the reference clock. */
export class ActivityScanner {
  private readonly kernels: SurveyKernels;

  constructor(module: WebAssembly.Module, private readonly audio: StudyAudio, private readonly settings: AnalysisSettings, mostSlots: number) {
    const { fftSize, hopFrames, sampleRateHz, bandHz } = settings;
    const shape: SurveyShape = { fftSize, hopFrames, sampleRateHz, bandHz, trackCount: audio.timeline.tracks.length, mostSlots, rowEvery: mostSlots, tapCount: countTaps(fftSize) };
    this.kernels = new SurveyKernels(createKernels(module, countSurveyBytes(shape)), shape);
  }

  /** Scans slots [firstSlot, firstSlot + slotCount) of reference time. */
  async scan(firstSlot: number, slotCount: number, { floors, filter }: NoiseState, clock: ClockModel): Promise<StepActivity> {
    const { kernels, audio } = this;
    const { slotFrames } = kernels;
    const fs = this.settings.sampleRateHz;
    const middleSec = ((firstSlot + slotCount / 2) * slotFrames) / fs;
    // One slot more before, to warm the filters up.
    const starts = clock.map((c) => (firstSlot - 1) * slotFrames + Math.round(readOffset(c, middleSec) * fs));
    kernels.start(filter);
    const { runs } = await audio.readPcm(starts, (slotCount + 1) * slotFrames, kernels.buffers[0]);
    kernels.take(0, runs, slotCount + 1);
    return this.judge(floors);
  }

  private judge(floors: readonly FloorSpectrum[]): StepActivity {
    const { kernels } = this;
    const { tracks, recorders } = this.audio.timeline;
    const { laneCount } = kernels;
    const energies = kernels.readEnergies();
    const hopCount = energies.length / laneCount;
    const noise = floors.map((f) => bandNoise(f, kernels.response));
    const together = Math.min(LEAST_TOGETHER, SHARED_FROM / recorders.length);
    const active = new Uint8Array(Math.ceil(hopCount / SLOT_HOPS));
    const isSilent = tracks.map(() => true);
    const sums = new Float64Array(recorders.length);
    for (let t = 0; t < hopCount; t++) {
      const here = t * laneCount, before = t > 0 ? here - laneCount : here, after = t + 1 < hopCount ? here + laneCount : here;
      sums.fill(0);
      for (let j = 0; j < tracks.length; j++) {
        if (energies[here + j] > SILENT_RATIO * noise[j]) isSilent[j] = false;
        const ratio = (2 * energies[here + j] + energies[before + j] + energies[after + j]) / 4 / noise[j];
        if (ratio >= LEAST_RATIO) sums[tracks[j].recorderIndex] = Infinity;
        else if (ratio > 1) sums[tracks[j].recorderIndex] += ratio - 1;
      }
      if (sums.some((s) => s >= together)) active[Math.floor(t / SLOT_HOPS)] = 1;
    }
    return { active, isSilent };
  }
}
