/** The two jobs that read audio: survey (noise floors, where there is sound) and extraction (candidates). Each is a pure function of its arguments. */
import type { Candidate } from '../evidence/candidate.js';
import { packCandidates } from '../evidence/candidate-rows.js';
import { extractStretch } from '../evidence/extract-stretch.js';
import { countEngineBytes, createKernelEngine } from '../evidence/kernel-engine.js';
import { LagMeter } from '../evidence/lags.js';
import type { NoiseFilter } from '../evidence/noise-filter.js';
import type { AnalysisSettings } from '../evidence/settings.js';
import type { SoundPiece, SpectralEngine } from '../evidence/spectra.js';
import { countBufferBytes, PcmLanes } from '../kernels/lane-records.js';
import { createKernels } from '../kernels/kernels.js';
import { readOffset, type ClockModel } from '../model/clock.js';
import type { CallArrival } from '../model/clock-readings.js';
import type { StudyAudio } from '../study/study-audio.js';
import { ArrivalWorker, type ArrivalTask } from './arrival-work.js';
import { countSpanFrames, type Span } from './active-time.js';
import { findSlotSec, type CellPlan } from './cells.js';
import { SurveyWorker, type SurveyResult } from './survey-cell.js';

export interface ExtractTask {
  cell: number;
  /** What is looked at, in order of time. */
  spans: Span[];
  gainDb: number[];
  floors: Float32Array[];
  /** What all tracks pass first; see noise-filter.ts. */
  filter: NoiseFilter;
  clock: ClockModel;
  /** Only candidates that gains and clocks can be fitted on. */
  tellingOnly?: boolean;
}

export interface ExtractResult {
  /** Candidates in order of time, see candidate-rows.ts. */
  rows: Float64Array;
  /** Stretches with the link lost [track, onset, offset], seconds on the reference clock. */
  lostRuns: [number, number, number][];
}

interface Dense { engine: SpectralEngine; pcm: PcmLanes }

/** Frames that are read at a time. */
const READ_FRAMES = 65536;

/** Does jobs one at a time, however many are asked for at once: they share their memory. */
export class CellWorker {
  private surveyor: SurveyWorker | undefined;
  private dense: Dense | undefined;
  private arrivals: ArrivalWorker | undefined;
  private readonly meter: LagMeter;
  private last: Promise<unknown> = Promise.resolve();

  constructor(private readonly module: WebAssembly.Module, private readonly audio: StudyAudio, private readonly settings: AnalysisSettings, private readonly plan: CellPlan) {
    this.meter = new LagMeter(settings.fftSize, settings.sampleRateHz, settings.maxLagSec);
  }

  /** @param onUnread of this and the other jobs: called when a recording could not be read for it, so that its result lacks what is there */
  survey(index: number, onUnread?: () => void): Promise<SurveyResult> {
    return this.queue(() => {
      this.surveyor ??= new SurveyWorker(this.module, this.audio, this.settings, this.plan);
      return this.surveyor.survey(index);
    }, onUnread);
  }

  extract(task: ExtractTask, onUnread?: () => void): Promise<ExtractResult> {
    return this.queue(async () => {
      const candidates: Candidate[] = [];
      const lostRuns: ExtractResult['lostRuns'] = [];
      for (const span of task.spans) await this.extractSpan(task, span, candidates, lostRuns);
      return { rows: packCandidates(candidates, this.audio.timeline.tracks.length), lostRuns };
    }, onUnread);
  }

  /** Where chosen calls arrived on the other recorders. */
  listen(task: ArrivalTask, onUnread?: () => void): Promise<CallArrival[]> {
    return this.queue(() => {
      this.arrivals ??= new ArrivalWorker(this.audio, this.settings);
      return this.arrivals.measure(task);
    }, onUnread);
  }

  private queue<T>(job: () => Promise<T>, onUnread?: () => void): Promise<T> {
    const result = this.last.then(async () => {
      const before = this.audio.unreadCount;
      const value = await job();
      if (this.audio.unreadCount > before) onUnread?.();
      return value;
    });
    this.last = result.catch(() => undefined);
    return result;
  }

  private async extractSpan(task: ExtractTask, span: Span, candidates: Candidate[], lostRuns: ExtractResult['lostRuns']): Promise<void> {
    const { settings, audio } = this;
    const { tracks, recorders } = audio.timeline;
    const fs = settings.sampleRateHz;
    const slotFrames = Math.round(findSlotSec(settings) * fs);
    const t0 = (span.first * slotFrames) / fs;
    const length = (span.end - span.first) * slotFrames;
    const middle = t0 + length / fs / 2;
    const starts = recorders.map((_, r) => Math.round((t0 + readOffset(task.clock[r], middle)) * fs));
    const { engine, pcm } = this.getDense();
    const region = engine.placeStretch(tracks.length, length);
    const pieces: SoundPiece[] = [];
    for (let done = 0; done < length; done += pcm.chunkFrames) {
      const count = Math.min(pcm.chunkFrames, length - done);
      const { runs } = await audio.readPcm(starts.map((s) => s + done), count, pcm.buffer);
      pcm.write(runs, count, region, done);
      for (const { trackIndex, offset, frameCount } of runs) pieces.push({ trackIndex, fromFrame: done + offset, toFrame: done + offset + frameCount });
    }
    engine.filterPlaced(task.filter, pieces);
    const residualOf = (recorder: number, tSec: number): number => t0 + readOffset(task.clock[recorder], tSec) - starts[recorder] / fs;
    // A clock that does not move is read once: not-a-number where it does.
    const still = Float64Array.from(tracks, ({ recorderIndex: r }) => (task.clock[r].knotSec.length === 1 ? residualOf(r, t0) : NaN));
    const residualSec = (track: number, tSec: number): number => (still[track] === still[track] ? still[track] : residualOf(tracks[track].recorderIndex, tSec));
    const found = extractStretch(engine, this.meter, settings, {
      startSec: t0, residualSec, gainDb: task.gainDb, floors: task.floors, tellingOnly: task.tellingOnly,
    });
    const isOwn = (c: Candidate): boolean => c.onsetSec >= span.ownFromSec && c.onsetSec < span.ownToSec;
    for (const c of found.candidates) if (isOwn(c)) candidates.push(c);
    const hopSec = settings.hopFrames / fs;
    const last = Math.min(span.ownToSec, this.plan.durationSec);
    found.lost.forEach((flags, j) => {
      for (let t = 0; t < flags.length; t++) {
        if (!flags[t]) continue;
        const a = t;
        while (t < flags.length && flags[t]) t++;
        const onset = Math.max(span.ownFromSec, t0 + a * hopSec);
        const offset = Math.min(last, t0 + t * hopSec);
        if (offset > onset) lostRuns.push([j, onset, offset]);
      }
    });
  }

  /** Memory for spectra is taken when they are first asked for; that of the survey is given back. */
  private getDense(): Dense {
    if (this.dense) return this.dense;
    this.surveyor = undefined;
    const { settings, plan, audio } = this;
    const tracks = audio.timeline.tracks.length;
    const k = createKernels(this.module, countEngineBytes(settings, tracks, countSpanFrames(plan, settings)) + countBufferBytes(tracks, READ_FRAMES) + 8192);
    const pcm = new PcmLanes(k, tracks, READ_FRAMES);
    this.dense = { pcm, engine: createKernelEngine(k, settings) };
    return this.dense;
  }
}
