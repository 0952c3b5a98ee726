/** The first look at one cell of a study: noise floors, a filter where noise is uneven, where there is sound at all, activity over time, gaps, where tracks stand still, what is no number. */
import { finishFloor, FLOOR_QUANTILE, type FloorSpectrum } from '../evidence/floors.js';
import { countTaps, designNoiseFilter, type NoiseFilter } from '../evidence/noise-filter.js';
import type { AnalysisSettings } from '../evidence/settings.js';
import { createKernels } from '../kernels/kernels.js';
import { countSurveyBytes, SLOT_HOPS, SurveyKernels, type SurveyShape } from '../kernels/survey-kernels.js';
import { log10 } from '../numeric/elementary.js';
import type { Gap, StudyAudio } from '../study/study-audio.js';
import { findSurveySlots, type CellPlan } from './cells.js';
import { meanFloorDb } from './floor-table.js';
import { StillFinder, type StillRun } from './still-runs.js';

export interface SurveyResult {
  /** Per track, mean noise power per bin after the filter; empty where the track has no sound here. */
  floors: FloorSpectrum[];
  /** What all tracks passed before floors and activity were measured; empty where the noise is even enough as it is. */
  filter: NoiseFilter;
  /** Per track, what the filter took of the mean floor in the call band, dB. */
  filterLossDb: number[];
  /** Per recorder, one bit per slot of its own file time, the lowest first: 1 = some track may hold more than noise. */
  active: Uint8Array[];
  /** Per recorder, activity per step on its own file time, 0 to 255 (only with several recorders). */
  activity: Uint8Array[];
  /** Stretches of tracks without sound, frames on their recorders' clocks. */
  gaps: Gap[];
  /** Stretches in which tracks stand still: a second at least, or what reaches the edge of the cell. */
  still: StillRun[];
  /** Per track: samples that are no numbers and were read as 0. */
  nonFiniteCounts: number[];
}

/** Spectra of a cell that are enough for its floors. */
const ENOUGH_ROWS = 2200;
const LEAST_ROWS = 8;
/** Band energy over the floor from which a hop counts as active: an owned call starts at 6.2 dB, noise alone stays below 2. */
const LEAST_RATIO = 2;
/** What the tracks of a recorder may hold over their floors together. Sound that no track leads starts at 4. */
const LEAST_TOGETHER = 2;
const SHARED_FROM = 4;
/** Activity counts from 3 dB to 23 dB over the floor. */
const ACTIVE_FROM_DB = 3;
const ACTIVE_SPAN_DB = 20;

/** Surveys cells in kernel memory of its own. */
export class SurveyWorker {
  private readonly kernels: SurveyKernels;
  private readonly rowEvery: number;
  private readonly stillFinder: StillFinder;

  constructor(module: WebAssembly.Module, private readonly audio: StudyAudio, private readonly settings: AnalysisSettings, private readonly plan: CellPlan) {
    let mostSlots = 1;
    for (const k of [0, plan.surveyCount - 1]) {
      const [first, end] = findSurveySlots(plan, settings, k);
      mostSlots = Math.max(mostSlots, end - first + 1);
    }
    this.rowEvery = Math.max(2, Math.ceil(mostSlots / ENOUGH_ROWS));
    const { fftSize, hopFrames, sampleRateHz, bandHz } = settings;
    const shape: SurveyShape = { fftSize, hopFrames, sampleRateHz, bandHz, trackCount: audio.timeline.tracks.length, mostSlots, rowEvery: this.rowEvery, tapCount: countTaps(fftSize) };
    this.kernels = new SurveyKernels(createKernels(module, countSurveyBytes(shape)), shape);
    this.stillFinder = new StillFinder(shape.trackCount, sampleRateHz);
  }

  async survey(index: number): Promise<SurveyResult> {
    const [first, end] = findSurveySlots(this.plan, this.settings, index);
    const { slotFrames } = this.kernels;
    const from = first * slotFrames, to = Math.min(end * slotFrames, this.audio.timeline.frameCount);
    this.stillFinder.start(from, to);
    const { gaps, nonFiniteCounts } = await this.takeCell(first, end);
    const clipped = clipGaps(gaps, from, to);
    const heard = this.findFloors(first, gaps), still = this.stillFinder.finish();
    const { bandBins, fftSize } = this.settings;
    const filter = designNoiseFilter(heard, bandBins, this.kernels.response, countTaps(fftSize));
    if (filter.length === 0) return { floors: heard, filter, filterLossDb: heard.map(() => 0), ...this.findActivity(heard), gaps: clipped, still, nonFiniteCounts };
    await this.takeCell(first, end, filter);
    const floors = this.findFloors(first, gaps);
    const filterLossDb = floors.map((f, j) => (f.length > 0 ? meanFloorDb(heard[j], bandBins) - meanFloorDb(f, bandBins) : 0));
    return { floors, filter, filterLossDb, ...this.findActivity(floors), gaps: clipped, still, nonFiniteCounts };
  }

  /** Reads a slot before the cell, which belongs to another one and only warms the filters up, then the cell chunk by chunk: the next one is read while one is worked on. */
  private async takeCell(first: number, end: number, filter?: NoiseFilter): Promise<{ gaps: Gap[]; nonFiniteCounts: number[] }> {
    const { kernels, audio } = this;
    const { slotFrames, chunkSlots } = kernels;
    kernels.start(filter);
    const gaps: Gap[] = [];
    const nonFiniteCounts = audio.timeline.tracks.map(() => 0);
    const read = (slot: number, count: number, into: 0 | 1): ReturnType<StudyAudio['readPcm']> => audio.readPcm(slot * slotFrames, count * slotFrames, kernels.buffers[into]);
    let buffer: 0 | 1 = 0, slot = first - 1, count = 1;
    let next = read(slot, count, buffer);
    while (slot < end) {
      const found = await next;
      const other: 0 | 1 = buffer === 0 ? 1 : 0, nextSlot = slot + count, nextCount = Math.min(chunkSlots, end - nextSlot);
      if (nextCount > 0) next = read(nextSlot, nextCount, other);
      gaps.push(...found.gaps);
      kernels.take(buffer, found.runs, count);
      if (slot >= first && !filter) {
        const from = buffer;
        this.stillFinder.take(kernels.buffers[from], found.runs, found.gaps, slot * slotFrames, (...stretch) => kernels.countSame(from, ...stretch));
        found.nonFiniteCounts.forEach((n, j) => { nonFiniteCounts[j] += n; });
      }
      buffer = other;
      slot = nextSlot;
      count = nextCount;
    }
    return { gaps, nonFiniteCounts };
  }

  private findFloors(first: number, gaps: readonly Gap[]): FloorSpectrum[] {
    const { kernels, settings, rowEvery } = this;
    const { laneCount, binCount, rowCount } = kernels;
    const { tracks } = this.audio.timeline;
    if (kernels.isSilent) return tracks.map(() => new Float32Array(0));
    const sounding = Array.from({ length: rowCount }, (_, row) => kernels.findSounding(row));
    const usable = tracks.map((_, j) => {
      const own = gaps.filter((g) => g.trackIndex === j), unusable: number[] = [];
      for (let row = 0; row < rowCount; row++) {
        // Spectra are taken in the middle of their slots.
        const start = (first + row * rowEvery) * kernels.slotFrames + (kernels.slotFrames - settings.fftSize) / 2;
        const isCut = own.some((g) => g.startFrame < start + settings.fftSize && g.startFrame + g.frameCount > start);
        // Digital silence says nothing about the noise.
        if (isCut || !sounding[row][j]) unusable.push(row);
      }
      const count = rowCount - unusable.length;
      if (count >= LEAST_ROWS) for (const row of unusable) kernels.leaveOut(row, j);
      return count;
    });
    const quantiles = kernels.findQuantiles(usable.map((n) => Math.floor(FLOOR_QUANTILE * Math.max(0, n - 1))));
    return usable.map((n, j) => {
      if (n < LEAST_ROWS) return new Float32Array(0);
      return finishFloor(Float32Array.from({ length: binCount }, (_, b) => quantiles[b * laneCount + j]));
    });
  }

  private findActivity(floors: readonly FloorSpectrum[]): { active: Uint8Array[]; activity: Uint8Array[] } {
    const { kernels, plan } = this;
    const { tracks, recorders } = this.audio.timeline;
    const { laneCount } = kernels;
    const energies = kernels.readEnergies();
    const hopCount = energies.length / laneCount;
    const scale = floors.map((f) => 1 / bandNoise(f, kernels.response));
    const together = Math.min(LEAST_TOGETHER, SHARED_FROM / recorders.length);
    const active = recorders.map(() => new Uint8Array(Math.ceil(hopCount / SLOT_HOPS / 8)));
    const own = recorders.map((_, r) => tracks.flatMap((track, j) => (track.recorderIndex === r ? [j] : [])));
    for (let t = 0; t < hopCount && !kernels.isSilent; t++) {
      const here = t * laneCount, before = t > 0 ? here - laneCount : here, after = t + 1 < hopCount ? here + laneCount : here;
      const slot = Math.floor(t / SLOT_HOPS);
      for (let r = 0; r < own.length; r++) {
        if (sumExcess(energies, own[r], scale, here, before, after) >= together) active[r][slot >> 3] |= 1 << (slot & 7);
      }
    }
    return { active, activity: recorders.length > 1 ? this.traceActivity(energies, scale, plan.traceHops) : [] };
  }

  /** Activity of each recorder per step: by how many decibels its tracks rise above their floors, limited, as a mean over its tracks. */
  private traceActivity(energies: Float32Array, scale: readonly number[], stepHops: number): Uint8Array[] {
    const { tracks, recorders } = this.audio.timeline;
    const { laneCount } = this.kernels;
    const steps = Math.floor(energies.length / laneCount / stepHops);
    return recorders.map((_, r) => {
      const sum = new Float32Array(steps);
      const own = tracks.flatMap((t, j) => (t.recorderIndex === r && scale[j] < Infinity ? [j] : []));
      for (const j of own) {
        for (let s = 0; s < steps; s++) {
          let e = 0;
          for (let h = s * stepHops; h < (s + 1) * stepHops; h++) e += energies[h * laneCount + j];
          const ratio = (e * scale[j]) / stepHops;
          if (ratio > 1.99) sum[s] += Math.min(ACTIVE_SPAN_DB, Math.max(0, 10 * log10(ratio) - ACTIVE_FROM_DB));
        }
      }
      return Uint8Array.from(sum, (v) => Math.round((v * 255) / ACTIVE_SPAN_DB / Math.max(1, own.length)));
    });
  }
}

/** How far tracks rise above their floors in a hop, smoothed over its neighbours, in multiples of these and all together; infinite where one of them surely does. */
function sumExcess(energies: Float32Array, tracks: readonly number[], scale: readonly number[], here: number, before: number, after: number): number {
  let sum = 0;
  for (let k = 0; k < tracks.length; k++) {
    const j = tracks[k], mean = (2 * energies[here + j] + energies[before + j] + energies[after + j]) / 4;
    const ratio = mean > 0 ? mean * scale[j] : 0;
    if (ratio >= LEAST_RATIO) return Infinity;
    if (ratio > 1) sum += ratio - 1;
  }
  return sum;
}

/** Power that the band filter passes of noise with a floor; 0 where the floor is not known. */
export function bandNoise(floor: FloorSpectrum, response: ArrayLike<number>): number {
  let a = 0;
  for (let b = 0; b < floor.length; b++) a += floor[b] * response[b];
  return floor.length > 1 ? a / (floor.length - 1) : 0;
}

/** Gaps within [from, to), neighbours of one kind joined. */
function clipGaps(gaps: readonly Gap[], from: number, to: number): Gap[] {
  const out: Gap[] = [];
  const sorted = [...gaps].sort((a, b) => a.trackIndex - b.trackIndex || a.startFrame - b.startFrame);
  for (const g of sorted) {
    const start = Math.max(from, g.startFrame), end = Math.min(to, g.startFrame + g.frameCount);
    if (end <= start) continue;
    const last = out[out.length - 1];
    if (last && last.trackIndex === g.trackIndex && last.reason === g.reason && last.startFrame + last.frameCount === start) last.frameCount += end - start;
    else out.push({ ...g, startFrame: start, frameCount: end - start });
  }
  return out;
}
