import type { Candidate } from '../evidence/candidate.js';
import { unpackCandidates } from '../evidence/candidate-rows.js';
import type { NoiseFilter } from '../evidence/noise-filter.js';
import type { AnalysisSettings } from '../evidence/settings.js';
import { createZeroClock, type ClockModel } from '../model/clock.js';
import { chooseCalls, type CallArrival } from '../model/clock-readings.js';
import { findCoarseClocks } from '../model/coarse-clock.js';
import { fitClocks } from '../model/fit-clock.js';
import { fitGains } from '../model/fit-gains.js';
import type { Timeline } from '../study/timeline.js';
import { computeBandResponse, designBand } from '../kernels/survey-kernels.js';
import type { Gap } from '../study/study-audio.js';
import type { ArrivalTask } from './arrival-work.js';
import { joinActivity, measureActiveShare, SpanFinder, type ActiveTime } from './active-time.js';
import { findSurveyIndex, type CellPlan } from './cells.js';
import { noCheckpoint, resumeCells, type Checkpoint, type TellCell } from './checkpoint.js';
import type { ExtractResult, ExtractTask } from './cell-work.js';
import { extractCells } from './extract-cells.js';
import { buildFloorTable, meanFloorDb, type FloorTable } from './floor-table.js';
import { GainWatch, lookInBatches, planBatches, type LookRule } from './look-plan.js';
import { joinStill, type StillRun } from './still-runs.js';
import type { SurveyResult } from './survey-cell.js';

/** Runs the jobs that read audio, in order or in parallel; results come back in the order of the tasks. */
export interface CellRunner {
  survey(cells: number[], onDone: TellCell): Promise<SurveyResult[]>;
  extract(tasks: ExtractTask[], onDone: TellCell): Promise<ExtractResult[]>;
  listen(tasks: ArrivalTask[], onDone: TellCell): Promise<CallArrival[][]>;
}

/** What extraction needs to know beforehand: noise floors, clocks and receiver gains of the whole study. */
export interface Calibration {
  /** After the filters. */
  floors: FloorTable;
  /** Per survey cell, what all tracks pass first where noise is uneven, and what that takes of each track's mean floor in the call band, dB. */
  filters: NoiseFilter[];
  filterLossDb: number[][];
  clock: ClockModel;
  gainDb: number[];
  /** Gains as the noise floors alone suggest them. */
  priorGainDb: number[];
  /** Where there may be more than noise. */
  active: ActiveTime;
  /** Stretches of tracks without sound, frames on their recorders' clocks. */
  gaps: Gap[];
  /** Stretches of at least a second in which a track stands still, frames on their recorders' clocks: its link is down. */
  still: StillRun[];
  /** Per track: samples that are no numbers and were read as 0. */
  nonFiniteCounts: number[];
}

export interface CalibrateOptions {
  maxOffsetSec: number;
  onProgress?: (stage: string, done: number, total: number) => void;
  /** Keeps what is finished of a pass. */
  checkpoint?: Checkpoint;
  /** Told when a recording could not be read: the calibration serves this run alone, and nothing that rests on it may be kept. */
  onUnread?: () => void;
}

/** Cells of the calibration passes: so many that they hold this much active time, seconds. Clocks of several recorders ask for one in ten at least. */
const ENOUGH_SEC = 900;
const LEAST_SHARE = 0.1;
/** Share of them that the first pass looks at with one recorder. */
const FIRST_SHARE = 1 / 3;
/** With one recorder a pass ends early, at 12 and 45 cells (2 and 7.5 min) at the soonest, once gains no longer move; after the first they need only be near. */
const FIRST_RULE: LookRule = { firstCells: 8, movedDb: 2 };
const SECOND_RULE: LookRule = { firstCells: 30, movedDb: 1 };
const LEAST_FIRST_CELLS = 12;
/** Cells of a first batch where clocks need all. */
const BATCH_CELLS = 48;
/** Cells of the survey that are saved together. */
const SURVEY_BATCH = 8;

/** Surveys the study and fits floors, clocks and gains on a sample of its cells. */
export async function calibrateStudy(runner: CellRunner, timeline: Timeline, settings: AnalysisSettings, plan: CellPlan, options: CalibrateOptions): Promise<Calibration> {
  const report = (stage: string, total: number): (() => void) => {
    let done = 0;
    return () => options.onProgress?.(stage, ++done, total);
  };
  let checkpoint = options.checkpoint ?? noCheckpoint;
  // Each pass rests on the ones before it: what follows a piece that could not be read is not kept either.
  const onUnread = (): void => { checkpoint = noCheckpoint; options.onUnread?.(); };
  const surveys = await surveyStudy(runner, plan, checkpoint, report('survey', plan.surveyCount), onUnread);
  const recorderOfTrack = timeline.tracks.map((t) => t.recorderIndex);
  const floors = buildFloorTable(surveys, timeline.tracks.length, settings.fftSize / 2 + 1, plan.surveySec);
  const response = computeBandResponse(designBand(settings.bandHz, settings.sampleRateHz), settings.fftSize);
  const active = joinActivity(surveys, floors, response, recorderOfTrack, plan, settings);
  const filters = surveys.map((s) => s.filter);
  const gaps = surveys.flatMap((s) => s.gaps);
  const still = joinStill(surveys.flatMap((s) => s.still), settings.sampleRateHz);
  const nonFiniteCounts = timeline.tracks.map((_, j) => surveys.reduce((sum, s) => sum + s.nonFiniteCounts[j], 0));
  const coarse = readCoarseClocks(surveys, timeline, plan, settings, options.maxOffsetSec);
  const priorGainDb = centre(floorsOfStudy(floors, settings));
  const enough = ENOUGH_SEC / Math.max(1e-3, measureActiveShare(active)) / plan.cellSec;
  const sampled = sampleEvenly(plan.cellCount, Math.ceil(Math.max(enough, timeline.recorders.length > 1 ? plan.cellCount * LEAST_SHARE : 0)));
  let lookCount = 0;
  // Clocks need readings all along the study: with several recorders every sampled cell is looked at in both passes.
  const isAlone = timeline.recorders.length === 1;
  const look = async (name: string, cells: number[], gainDb: number[], clock: ClockModel, rule: LookRule): Promise<Candidate[]> => {
    const onDone = report(name, cells.length);
    const pass = ++lookCount;
    const spans = new SpanFinder(active, clock, plan, settings);
    const batches = planBatches(cells, isAlone ? rule.firstCells : BATCH_CELLS);
    const watch = new GainWatch(priorGainDb, rule);
    const isEnough = (found: Candidate[][]): boolean => isAlone && watch.isSettled(found);
    const found = await lookInBatches(batches, isEnough, async (batch, b) => {
      const tasks = batch.map((cell) => ({ ...makeTask(plan, { floors, filters, clock, gainDb }, spans, cell), tellingOnly: true }));
      const results = await resumeCells(checkpoint, `look-${pass}-${nameNumber(b)}`, tasks.length, onDone, (tell) => extractCells(runner, tasks, tell), onUnread);
      return results.map((r) => unpackCandidates(r.rows, timeline.tracks.length));
    });
    for (let k = found.length; k < cells.length; k++) onDone();
    return found.flat();
  };
  // Gains that are to be refined at once are found on a part.
  const some = isAlone ? sampleEvenly(sampled.length, Math.ceil(Math.max(LEAST_FIRST_CELLS, sampled.length * FIRST_SHARE))).map((k) => sampled[k]) : sampled;
  const first = await look('calibration', some, priorGainDb, coarse, FIRST_RULE);
  // Frames hold lags of a few milliseconds, and one peak of each. Calls as a whole are heard further, and tell their periods apart.
  const listen = async (name: string, candidates: readonly Candidate[], clock: ClockModel): Promise<CallArrival[]> => {
    if (isAlone) return [];
    const calls = chooseCalls(candidates, recorderOfTrack, MOST_CALLS);
    const tasks = range(0, Math.ceil(calls.length / TASK_CALLS)).map((n) => ({ clock, calls: calls.slice(n * TASK_CALLS, (n + 1) * TASK_CALLS) }));
    return resumeCells(checkpoint, `look-${lookCount}-arrivals`, tasks.length, report(name, tasks.length), async (tell) => (await runner.listen(tasks, tell)).flat(), onUnread);
  };
  const arrivals = await listen('calibration of clocks', first, coarse);
  const clock = fitClocks({ candidates: first, recorderOfTrack, coarse, arrivals, durationSec: plan.durationSec });
  // The first gains come from noise floors alone and may hide a bird behind its neighbour: calibrate once more with the gains of the first pass.
  const rough = [...fitGains(sameRecorderOnly(first, timeline), priorGainDb).gainDb];
  const second = await look('calibration, once more', sampled, rough, clock, SECOND_RULE);
  return {
    floors, filters, filterLossDb: surveys.map((s) => s.filterLossDb), active, gaps, still, nonFiniteCounts, priorGainDb, gainDb: [...fitGains(second, priorGainDb).gainDb],
    clock: fitClocks({ candidates: second, recorderOfTrack, coarse: clock, otherLooks: [{ candidates: first, clock: coarse }], arrivals, durationSec: plan.durationSec }),
  };
}

/** The survey in pieces that are saved as they are finished: on a slow disk it takes hours. */
async function surveyStudy(runner: CellRunner, plan: CellPlan, checkpoint: Checkpoint, onDone: () => void, onUnread: () => void): Promise<SurveyResult[]> {
  const pieces = range(0, Math.ceil(plan.surveyCount / SURVEY_BATCH)).map((n) => {
    const cells = range(n * SURVEY_BATCH, Math.min(plan.surveyCount, (n + 1) * SURVEY_BATCH));
    return resumeCells(checkpoint, `survey-${nameNumber(n)}`, cells.length, onDone, (tell) => runner.survey(cells, tell), onUnread);
  });
  return (await Promise.all(pieces)).flat();
}

/** Calls whose arrivals are measured, and how many are one job. */
const MOST_CALLS = 1000;
const TASK_CALLS = 16;

/** The extraction task of one cell. */
export function makeTask(plan: CellPlan, calibration: Pick<Calibration, 'floors' | 'filters' | 'gainDb' | 'clock'>, spans: SpanFinder, cell: number): ExtractTask {
  const { floors, filters, gainDb, clock } = calibration;
  const survey = findSurveyIndex(plan, (cell + 0.5) * plan.cellSec);
  return { cell, spans: spans.list(cell), gainDb, clock, floors: floors[survey], filter: filters[survey] };
}

function readCoarseClocks(surveys: readonly SurveyResult[], timeline: Timeline, plan: CellPlan, settings: AnalysisSettings, maxOffsetSec: number): ClockModel {
  if (timeline.recorders.length < 2) return createZeroClock(timeline.recorders.length);
  const stepSec = (plan.traceHops * settings.hopFrames) / settings.sampleRateHz;
  const traces = timeline.recorders.map((_, r) => {
    if (!timeline.tracks.some((t) => t.recorderIndex === r)) return undefined;
    const values = new Uint8Array(surveys.reduce((s, x) => s + x.activity[r].length, 0));
    let at = 0;
    for (const s of surveys) { values.set(s.activity[r], at); at += s.activity[r].length; }
    return { stepSec, values };
  });
  return findCoarseClocks(traces, maxOffsetSec, timeline.recorders);
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
  if (count <= most) return range(0, count);
  return Array.from({ length: most }, (_, k) => Math.floor(((k + 0.5) * count) / most));
}

function nameNumber(n: number): string {
  return String(n).padStart(6, '0');
}

/** from .. end-1. */
export function range(from: number, end: number): number[] {
  return Array.from({ length: Math.max(0, end - from) }, (_, k) => from + k);
}
