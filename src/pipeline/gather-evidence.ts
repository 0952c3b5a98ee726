import type { Candidate } from '../evidence/candidate.js';
import type { AnalysisSettings } from '../evidence/settings.js';
import { createZeroClock, type ClockModel } from '../model/clock.js';
import { findCoarseClock } from '../model/coarse-clock.js';
import { fitClocks } from '../model/fit-clock.js';
import { fitGains, type GainFit } from '../model/fit-gains.js';
import type { Timeline } from '../study/timeline.js';
import { findSurveyIndex, type CellPlan } from './cells.js';
import type { ExtractResult, ExtractTask, SurveyResult } from './cell-work.js';
import { buildFloorTable, meanFloorDb, type FloorTable } from './floor-table.js';

/** Runs the jobs that read audio, in order or in parallel; results come back in the order of the tasks. */
export interface CellRunner {
  survey(cells: number[], onDone: () => void): Promise<SurveyResult[]>;
  extract(tasks: ExtractTask[], onDone: () => void): Promise<ExtractResult[]>;
}

export interface Evidence {
  candidates: Candidate[];
  cells: ExtractResult[];
  floors: FloorTable;
  clock: ClockModel;
  gains: GainFit;
}

export interface GatherOptions {
  maxOffsetSec: number;
  onProgress?: (stage: string, done: number, total: number) => void;
}

/** Most cells of the calibration pass; longer studies are sampled evenly. */
const CALIBRATION_CELLS = 360;

/** Surveys, calibrates (gains, clocks) and extracts: everything that reads audio. */
export async function gatherEvidence(runner: CellRunner, timeline: Timeline, settings: AnalysisSettings, plan: CellPlan, options: GatherOptions): Promise<Evidence> {
  const report = (stage: string, total: number): (() => void) => {
    let done = 0;
    return () => options.onProgress?.(stage, ++done, total);
  };
  const surveys = await runner.survey(range(plan.surveyCount), report('survey', plan.surveyCount));
  const binCount = settings.fftSize / 2 + 1;
  const floors = buildFloorTable(surveys, timeline.tracks.length, binCount);
  const coarse = findCoarseClocks(surveys, timeline, settings, options.maxOffsetSec);
  const priorGain = centre(floorsOfStudy(floors, settings));
  const makeTask = (cell: number, gainDb: number[], clock: ClockModel): ExtractTask => ({
    cell, gainDb, clock, floors: floors[findSurveyIndex(plan, (cell + 0.5) * plan.cellSec)],
  });
  const sampled = sampleEvenly(plan.cellCount, CALIBRATION_CELLS);
  const first = await runner.extract(sampled.map((cell) => makeTask(cell, priorGain, coarse)), report('calibration', sampled.length));
  const early = first.flatMap((r) => r.candidates);
  const clock = fitClocks({ candidates: early, recorderOfTrack: timeline.tracks.map((t) => t.recorderIndex), coarse, durationSec: plan.durationSec });
  // The first gains come from noise floors alone and may hide a bird behind its neighbour: calibrate once more with the gains of the first pass.
  const rough = [...fitGains(sameRecorderOnly(early, timeline), priorGain).gainDb];
  const second = await runner.extract(sampled.map((cell) => makeTask(cell, rough, clock)), report('calibration 2', sampled.length));
  const gainDb = [...fitGains(second.flatMap((r) => r.candidates), priorGain).gainDb];
  const cells = await runner.extract(range(plan.cellCount).map((cell) => makeTask(cell, gainDb, clock)), report('extraction', plan.cellCount));
  const candidates = cells.flatMap((r) => r.candidates);
  const finer = fitClocks({ candidates, recorderOfTrack: timeline.tracks.map((t) => t.recorderIndex), coarse: clock, durationSec: plan.durationSec });
  return { candidates, cells, floors, clock: finer, gains: fitGains(candidates, priorGain) };
}

function findCoarseClocks(surveys: readonly SurveyResult[], timeline: Timeline, settings: AnalysisSettings, maxOffsetSec: number): ClockModel {
  const zero = createZeroClock(timeline.recorders.length);
  if (timeline.recorders.length < 2) return zero;
  const traces = timeline.recorders.map((_, r) => {
    const total = surveys.reduce((s, x) => s + x.activity[r].length, 0);
    const values = new Float32Array(total);
    let at = 0;
    for (const s of surveys) { values.set(s.activity[r], at); at += s.activity[r].length; }
    return { stepSec: settings.hopFrames / settings.sampleRateHz, values };
  });
  return zero.map((clock, r) => (r === 0 || !timeline.tracks.some((t) => t.recorderIndex === r) ? clock : findCoarseClock(traces[0], traces[r], maxOffsetSec, timeline.recorders[r])));
}

/** Before the clocks are fitted, lags between recorders are off by milliseconds: hide them from the gain fit. */
function sameRecorderOnly(candidates: readonly Candidate[], timeline: Timeline): Candidate[] {
  if (timeline.recorders.length < 2) return [...candidates];
  return candidates.map((c) => ({
    ...c,
    agreementZ: c.agreementZ.map((z, j) => (timeline.tracks[j].recorderIndex === timeline.tracks[c.track].recorderIndex ? z : 0)),
  }));
}

function floorsOfStudy(floors: FloorTable, settings: AnalysisSettings): number[] {
  return floors[0].map((_, j) => {
    const values = floors.map((cell) => meanFloorDb(cell[j], settings.bandBins)).sort((a, b) => a - b);
    return values[values.length >> 1];
  });
}

function centre(values: readonly number[]): number[] {
  const mean = values.reduce((s, v) => s + v, 0) / values.length;
  return values.map((v) => v - mean);
}

function sampleEvenly(count: number, most: number): number[] {
  if (count <= most) return range(count);
  return Array.from({ length: most }, (_, k) => Math.floor(((k + 0.5) * count) / most));
}

function range(n: number): number[] {
  return Array.from({ length: n }, (_, k) => k);
}
