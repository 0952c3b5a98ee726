/** The two jobs that read audio: survey (noise floors, activity) and extraction (candidates). Each is a pure function of its arguments. */
import type { Candidate } from '../evidence/candidate.js';
import { extractStretch } from '../evidence/extract-stretch.js';
import { estimateFloors, type FloorSpectrum } from '../evidence/floors.js';
import { countEngineBytes, createKernelEngine } from '../evidence/kernel-engine.js';
import { LagMeter } from '../evidence/lags.js';
import type { AnalysisSettings } from '../evidence/settings.js';
import type { SpectralEngine } from '../evidence/spectra.js';
import { createKernels } from '../kernels/kernels.js';
import { readOffset, type ClockModel } from '../model/clock.js';
import { log10 } from '../numeric/elementary.js';
import type { StudyAudio } from '../study/study-audio.js';
import { findSurveySpan, type CellPlan } from './cells.js';

export interface SurveyResult {
  /** Per track, mean noise power per bin; empty where the track has no sound here. */
  floors: Float32Array[];
  /** Per recorder, activity per hop on its own file time (only asked for with several recorders). */
  activity: Float32Array[];
}

export interface ExtractTask {
  cell: number;
  gainDb: number[];
  floors: Float32Array[];
  clock: ClockModel;
}

export interface ExtractResult {
  candidates: Candidate[];
  /** Per track: seconds of the cell without sound, and seconds with the link lost. */
  missingSec: number[];
  lostSec: number[];
  /** Per track: seconds of the cell that its files should hold but that could not be read. */
  damagedSec: number[];
  /** Lost stretches [track, onset, offset], seconds on the reference clock. */
  lostRuns: [number, number, number][];
}

const SURVEY_BLOCK_SEC = 4;
const SURVEY_SPARSE = 16;

export class CellWorker {
  private readonly dense: SpectralEngine;
  private readonly sparse: SpectralEngine;
  private readonly meter: LagMeter;
  private readonly blocks: Float32Array[];

  constructor(module: WebAssembly.Module, private readonly audio: StudyAudio, private readonly settings: AnalysisSettings, private readonly plan: CellPlan) {
    const tracks = audio.timeline.tracks.length;
    const most = Math.ceil((plan.cellSec + 2 * plan.haloSec) * settings.sampleRateHz) + 1;
    this.dense = createKernelEngine(createKernels(module, countEngineBytes(settings, tracks, most)), settings);
    const sparse = { ...settings, hopFrames: settings.hopFrames * SURVEY_SPARSE };
    this.sparse = createKernelEngine(createKernels(module, countEngineBytes(sparse, tracks, SURVEY_BLOCK_SEC * settings.sampleRateHz)), sparse);
    this.meter = new LagMeter(settings.fftSize, settings.sampleRateHz, settings.maxLagSec);
    this.blocks = audio.timeline.tracks.map(() => new Float32Array(most));
  }

  async survey(index: number): Promise<SurveyResult> {
    const { settings, audio, blocks } = this;
    const { tracks, recorders } = audio.timeline;
    const [from, to] = findSurveySpan(this.plan, index);
    const blockFrames = SURVEY_BLOCK_SEC * settings.sampleRateHz;
    const several = recorders.length > 1;
    const powers: Float32Array[][] = tracks.map(() => []);
    const activity = recorders.map(() => [] as number[]);
    const endFrame = Math.round(to * settings.sampleRateHz);
    for (let start = Math.round(from * settings.sampleRateHz); start < endFrame; start += blockFrames) {
      const length = Math.min(blockFrames, endFrame - start);
      const gaps = await audio.readTracks(start, length, blocks);
      const s = this.sparse.analyse(blocks, length);
      tracks.forEach((_, j) => {
        for (let t = 1; t < s.frameCount; t++) {
          const centre = start + t * settings.hopFrames * SURVEY_SPARSE;
          const half = settings.fftSize / 2;
          if (gaps.some((g) => g.trackIndex === j && g.startFrame < centre + half && g.startFrame + g.frameCount > centre - half)) continue;
          const row = s.power[j].slice(t * s.binCount, (t + 1) * s.binCount);
          // Digital silence says nothing about the noise.
          if (row.some((v) => v > 0)) powers[j].push(row);
        }
      });
      if (several) this.traceActivity(length, activity);
    }
    return { floors: powers.map((rows) => floorOfRows(rows, settings.fftSize / 2 + 1)), activity: activity.map((a) => Float32Array.from(a)) };
  }

  /** Activity of each recorder per hop: how many decibels its tracks rise above their quiet level, summed and limited. */
  private traceActivity(length: number, into: number[][]): void {
    const { settings, audio, blocks } = this;
    const s = this.dense.analyse(blocks, length);
    const steps = Math.floor(length / settings.hopFrames);
    const sums = into.map(() => new Float32Array(steps));
    audio.timeline.tracks.forEach((track, j) => {
      const level = new Float32Array(steps);
      for (let t = 0; t < steps; t++) {
        let a = 0;
        for (let b = settings.bandBins[0]; b < settings.bandBins[1]; b++) a += s.power[j][t * s.binCount + b];
        level[t] = 10 * log10(a + 1e-12);
      }
      const quiet = Float32Array.from(level).sort()[steps >> 2];
      for (let t = 0; t < steps; t++) sums[track.recorderIndex][t] += Math.min(20, Math.max(0, level[t] - quiet - 3));
    });
    sums.forEach((x, r) => { for (const v of x) into[r].push(v); });
  }

  async extract(task: ExtractTask): Promise<ExtractResult> {
    const { settings, audio, blocks, plan } = this;
    const { tracks, recorders } = audio.timeline;
    const fs = settings.sampleRateHz;
    const t0 = task.cell * plan.cellSec - plan.haloSec;
    const t1 = Math.min(plan.durationSec, (task.cell + 1) * plan.cellSec) + plan.haloSec;
    const middle = (t0 + t1) / 2;
    const length = Math.round((t1 - t0) * fs);
    const starts = recorders.map((_, r) => Math.round((t0 + readOffset(task.clock[r], middle)) * fs));
    const gaps = await this.readAligned(starts, length);
    const residualSec = (track: number, tSec: number): number => {
      const r = tracks[track].recorderIndex;
      return t0 + readOffset(task.clock[r], tSec) - starts[r] / fs;
    };
    const result = extractStretch(this.dense, this.meter, settings, {
      signals: blocks, lengthFrames: length, startSec: t0, residualSec, gainDb: task.gainDb, floors: task.floors,
    });
    const from = task.cell * plan.cellSec;
    const to = from + plan.cellSec;
    const hopSec = settings.hopFrames / fs;
    const missingSec = tracks.map(() => 0);
    const damagedSec = tracks.map(() => 0);
    const inCell = (a: number, b: number): number => Math.max(0, Math.min(b, to, plan.durationSec) - Math.max(a, from));
    for (const g of gaps) {
      const a = t0 + (g.startFrame - starts[tracks[g.trackIndex].recorderIndex]) / fs;
      const missing = inCell(a, a + g.frameCount / fs);
      missingSec[g.trackIndex] += missing;
      if (g.reason !== 'no-file') damagedSec[g.trackIndex] += missing;
    }
    const lostRuns: [number, number, number][] = [];
    result.lost.forEach((flags, j) => {
      for (let t = 0; t < flags.length; t++) {
        if (!flags[t]) continue;
        const a = t;
        while (t < flags.length && flags[t]) t++;
        const onset = Math.max(from, t0 + a * hopSec);
        const offset = Math.min(to, t0 + t * hopSec);
        if (offset > onset) lostRuns.push([j, onset, offset]);
      }
    });
    const lostSec = tracks.map((_, j) => lostRuns.reduce((s, r) => s + (r[0] === j ? r[2] - r[1] : 0), 0));
    return { candidates: result.candidates.filter((c) => c.onsetSec >= from && c.onsetSec < to), missingSec, lostSec, damagedSec, lostRuns };
  }

  private readAligned(starts: number[], length: number): ReturnType<StudyAudio['readTracks']> {
    return this.audio.readTracks(starts, length, this.blocks);
  }
}

function floorOfRows(rows: readonly Float32Array[], binCount: number): FloorSpectrum {
  if (rows.length < 8) return new Float32Array(0);
  const power = new Float32Array(rows.length * binCount);
  rows.forEach((r, t) => power.set(r, t * binCount));
  const s = { trackCount: 1, frameCount: rows.length, binCount, groupCount: 1, complex: new Float32Array(0), power: [power] };
  return estimateFloors(s, rows.map((_, t) => t))[0];
}
