import { attributeCandidates, type Models } from '../attribute/attribution.js';
import { makeCallRows, makeSoundRows } from '../attribute/make-tables.js';
import { unpackCandidates } from '../evidence/candidate-rows.js';
import type { AnalysisSettings } from '../evidence/settings.js';
import { readOffset, readRatePpm, readUncertainty, type ClockModel } from '../model/clock.js';
import { fitGains } from '../model/fit-gains.js';
import { SHIPPED_MODELS } from '../model/shipped-models.js';
import { log10 } from '../numeric/elementary.js';
import { VolaryError } from '../schema/errors.js';
import type { CallRow, ClockRow, SoundRow, TrackHourRow } from '../schema/rows.js';
import type { StudyManifest } from '../study/manifest.js';
import type { Timeline } from '../study/timeline.js';
import { calibrateStudy, type Calibration, type CellRunner } from './calibrate.js';
import { findSurveyIndex, type CellPlan } from './cells.js';
import { noCheckpoint, resumeStep, type Checkpoint } from './checkpoint.js';
import { extractChunks, type Chunk } from './extract-blocks.js';
import { meanFloorDb } from './floor-table.js';
import { decideByKernels } from './decision-kernels.js';
import { LostTime } from './lost-time.js';
import { planStudy } from './plan-study.js';

export interface StudyTables {
  calls: CallRow[];
  sounds: SoundRow[];
  clock: ClockRow[];
  tracks: TrackHourRow[];
}

/** Calls of a stretch of a study, decided for good: onsets from `fromSec` up to `toSec` (Infinity for the last), numbered as in the whole table. */
export interface CallBlock {
  fromSec: number;
  toSec: number;
  calls: CallRow[];
}

/** Takes rows as they are decided, in the order of their tables. What it throws ends the work. */
export interface RowSink {
  addCalls(rows: readonly CallRow[]): void;
  addSounds(rows: readonly SoundRow[]): void;
}

export interface StudyResult extends StudyTables {
  settings: AnalysisSettings;
  gainDb: number[];
  durationSec: number;
  /** Per track: seconds that its files should hold but that could not be read; they count as lost. */
  damagedSec: number[];
  /** Per track: samples that are no numbers (NaN, infinite) and were read as 0. */
  nonFiniteCounts: number[];
}

export interface AttributeOptions {
  maxOffsetSec?: number;
  onProgress?: (stage: string, done: number, total: number) => void;
  /** Told the calls of every block of about 16 minutes as soon as they are decided, in order of time; blocks without calls too. */
  onCalls?: (block: CallBlock) => void;
  /** Takes calls and sounds instead of the result, whose tables of them stay empty. */
  rows?: RowSink;
  /** Called before the evidence of a block of about 16 minutes is decided, which takes most memory: the moment to give some back. Not where there is none. */
  onBeforeDecision?: () => void;
  models?: Models;
  /** Forests are asked by these kernels: the same bits as without, several times as fast. */
  kernels?: WebAssembly.Module;
  /** Keeps finished work, so that a run that was stopped goes on where it was. */
  checkpoint?: Checkpoint;
}

const HOUR_SEC = 3600;
/** Clock rows are written this far apart at least, seconds. */
const CLOCK_STEP_SEC = 10;

/** @throws VolaryError 'not-fit' where there is nothing to compare */
export function requireTracks(timeline: Timeline): void {
  if (timeline.tracks.length >= 2) return;
  throw new VolaryError('not-fit', { what: 'attribution compares tracks', got: `${timeline.tracks.length} usable`, expected: 'at least two', mend: "run 'volary check' to see why" });
}

/**
 * The main job: from the recordings of a study to the tables of who called when.
 * @param makeRunner gives the runner of the jobs that read audio (in line, worker threads)
 * @throws VolaryError 'not-fit' when there is nothing to attribute from
 */
export async function attributeStudy(
  timeline: Timeline, manifest: StudyManifest, makeRunner: (settings: AnalysisSettings, plan: CellPlan) => CellRunner, options: AttributeOptions = {},
): Promise<StudyResult> {
  requireTracks(timeline);
  const { settings, plan } = planStudy(timeline, manifest);
  const runner = makeRunner(settings, plan);
  const { calibration, checkpoint } = await resumeCalibration(runner, timeline, settings, plan, options);
  const models = options.models ?? SHIPPED_MODELS;
  const tables = new TableMaker(timeline, manifest, settings, plan, calibration, options.kernels ? decideByKernels(models, options.kernels) : models, options.rows);
  let done = 0;
  await extractChunks(runner, plan, settings, calibration, checkpoint, () => options.onProgress?.('extraction', ++done, plan.cellCount), (chunk) => {
    if (chunk.cells.some((c) => c.rows.length > 0)) options.onBeforeDecision?.();
    const block = tables.add(chunk);
    options.onCalls?.(block);
  });
  return { ...tables.finish(), settings, gainDb: calibration.gainDb, durationSec: timeline.durationSec, damagedSec: tables.sumDamage(), nonFiniteCounts: calibration.nonFiniteCounts };
}

/** A calibration and where work that rests on it may be kept: nowhere, if recordings could not be read while it was made. */
export interface ResumedCalibration { calibration: Calibration; checkpoint: Checkpoint }

/** Calibration of a study, loaded from the checkpoint or done and saved. */
export async function resumeCalibration(runner: CellRunner, timeline: Timeline, settings: AnalysisSettings, plan: CellPlan, options: AttributeOptions): Promise<ResumedCalibration> {
  let checkpoint = options.checkpoint ?? noCheckpoint;
  const calibration = await resumeStep(checkpoint, 'calibration', (spoil) => calibrateStudy(runner, timeline, settings, plan, {
    maxOffsetSec: options.maxOffsetSec ?? 60, onProgress: options.onProgress, checkpoint: options.checkpoint,
    onUnread: () => { spoil(); checkpoint = noCheckpoint; },
  }));
  return { calibration, checkpoint };
}

/** Rows in memory. */
class KeptRows implements RowSink {
  readonly calls: CallRow[] = [];
  readonly sounds: SoundRow[] = [];

  addCalls(rows: readonly CallRow[]): void {
    for (const row of rows) this.calls.push(row);
  }

  addSounds(rows: readonly SoundRow[]): void {
    for (const row of rows) this.sounds.push(row);
  }
}

/** Makes rows chunk by chunk; the evidence itself is not kept. */
class TableMaker {
  private readonly kept = new KeptRows();
  private readonly lost: LostTime;
  private callCount = 0;

  constructor(
    private readonly timeline: Timeline, private readonly manifest: StudyManifest, private readonly settings: AnalysisSettings, private readonly plan: CellPlan,
    private readonly calibration: Calibration, private readonly models: Models, private readonly sink?: RowSink,
  ) {
    this.lost = new LostTime(timeline, settings, HOUR_SEC, calibration);
  }

  add(chunk: Chunk): CallBlock {
    const candidates = chunk.cells.flatMap((r) => unpackCandidates(r.rows, this.timeline.tracks.length));
    const gains = fitGains(candidates, this.calibration.priorGainDb);
    const attribution = attributeCandidates(candidates, gains, this.models);
    const context = {
      birds: this.timeline.tracks.map((t) => t.bird), startUtc: this.manifest.start, hopSec: this.settings.hopFrames / this.settings.sampleRateHz,
      fftSize: this.settings.fftSize, bandFloorDb: (track: number, tSec: number) => this.floorAt(track, tSec),
    };
    const isHere = (r: { onsetSec: number }): boolean => r.onsetSec >= chunk.fromSec && r.onsetSec < chunk.toSec;
    const calls = makeCallRows(candidates, attribution, context).filter(isHere);
    for (const row of calls) row.callId = ++this.callCount;
    const rows = this.sink ?? this.kept;
    rows.addCalls(calls);
    rows.addSounds(makeSoundRows(candidates, attribution, chunk.cells.flatMap((c) => c.lostRuns), context).filter(isHere));
    chunk.cells.forEach((cell, k) => {
      // Context belongs to other chunks.
      const startSec = (chunk.firstCell + k) * this.plan.cellSec;
      if (startSec < chunk.fromSec || startSec >= chunk.toSec) return;
      for (const [track, onsetSec, offsetSec] of cell.lostRuns) this.lost.add(track, onsetSec, offsetSec);
    });
    return { fromSec: chunk.fromSec, toSec: chunk.toSec, calls };
  }

  sumDamage(): number[] {
    return this.lost.damagedSec;
  }

  finish(): StudyTables {
    return { calls: this.kept.calls, sounds: this.kept.sounds, clock: makeClockRows(this.timeline, this.calibration.clock), tracks: this.makeTrackRows() };
  }

  /** Noise in the call band behind the filter, as calls are measured. */
  private floorAt(track: number, tSec: number): number {
    const { settings, plan, calibration } = this;
    const bandShare = 10 * log10((settings.bandBins[1] - settings.bandBins[0]) / (settings.fftSize / 2));
    return meanFloorDb(calibration.floors[findSurveyIndex(plan, tSec)][track], settings.bandBins) + bandShare;
  }

  /** The same as it was recorded. */
  private recordedFloorAt(track: number, tSec: number): number {
    return this.floorAt(track, tSec) + this.calibration.filterLossDb[findSurveyIndex(this.plan, tSec)][track];
  }

  private makeTrackRows(): TrackHourRow[] {
    const { timeline } = this;
    return timeline.tracks.flatMap((track, j) => {
      const rows: TrackHourRow[] = [];
      for (let hour = 0; hour * HOUR_SEC < timeline.durationSec; hour++) {
        const start = hour * HOUR_SEC;
        const end = Math.min(timeline.durationSec, start + HOUR_SEC);
        const lost = this.lost.read(j, hour);
        rows.push({
          track: track.bird, recorder: track.recorder, startSec: start, usableSec: Math.max(0, end - start - lost), noiseFloorDb: this.recordedFloorAt(j, (start + end) / 2),
          gainDb: this.calibration.gainDb[j], lostShare: Math.min(1, lost / (end - start)),
        });
      }
      return rows;
    });
  }
}

function makeClockRows(timeline: Timeline, model: ClockModel): ClockRow[] {
  const rows: ClockRow[] = [];
  model.forEach((clock, r) => {
    if (r === 0 || !timeline.tracks.some((t) => t.recorderIndex === r)) return;
    const step = Math.max(CLOCK_STEP_SEC, timeline.durationSec / 10000);
    for (let t = 0; t <= timeline.durationSec; t += step) {
      rows.push({ recorder: timeline.recorders[r], tRefSec: t, offsetSec: readOffset(clock, t), ppm: readRatePpm(clock, t), uncertaintySec: readUncertainty(clock, t) });
    }
  });
  return rows;
}
