import type { AnalysisSettings } from '../evidence/settings.js';
import { attributeStudy, type CallBlock, type RowSink, type StudyResult } from '../pipeline/attribute-study.js';
import type { CellPlan } from '../pipeline/cells.js';
import { CellWorker } from '../pipeline/cell-work.js';
import type { CellRunner } from '../pipeline/calibrate.js';
import type { Checkpoint } from '../pipeline/checkpoint.js';
import { createInlineRunner } from '../pipeline/inline-runner.js';
import type { WorkerPool } from '../parallel/worker-pool.js';
import type { AudioReader } from '../audio/types.js';
import { quoteName } from '../schema/errors.js';
import type { StudyManifest } from '../study/manifest.js';
import { describeNonFinite } from '../study/judge-track.js';
import { StudyAudio } from '../study/study-audio.js';
import type { Timeline } from '../study/timeline.js';
import { leaveOnAbort, pauseBetweenJobs, requireNotAborted } from './attend-runner.js';

/** A study whose headers were read: what lies where, and how to open its files. */
export interface OpenedStudy {
  manifest: StudyManifest;
  timeline: Timeline;
  /** Opens a file by its path as written in the manifest. */
  openReader(path: string): Promise<AudioReader>;
}

/** What every way of attributing takes. */
export interface AttributeOptions {
  /** Largest offset between recorders that is looked for, seconds. Default 60. */
  maxOffsetSec?: number;
  /** Told after every piece of work: the stage in words, and how many of its pieces are done. */
  onProgress?: (stage: string, done: number, total: number) => void;
  /** Told the calls of every block of about 16 minutes as soon as they are decided, in order of time; `streamCalls` makes an iterator of it. */
  onCalls?: (block: CallBlock) => void;
  /** Takes the rows of calls and sounds as they are decided, instead of the result, whose tables of them stay empty: memory does not grow with the length of the study then. */
  rows?: RowSink;
  /** Called before the evidence of a block of about 16 minutes is decided, which takes most memory: the moment to give some back. Not where there is none. */
  onBeforeDecision?: () => void;
  /** Stops the work: the promise is rejected with a VolaryError 'interrupted'. */
  signal?: AbortSignal;
  /** Keeps finished work, so that a run that was stopped goes on where it was. */
  checkpoint?: Checkpoint;
}

/** The four tables, what they were made with, and what could not be used. */
export interface AttributeResult extends StudyResult {
  /** The study as it was analysed. */
  manifest: StudyManifest;
  /** Birds whose tracks were used, in the order of `gainDb`. */
  birds: string[];
  /** What is worth knowing about the recordings, one line each; after an 'error' some of the study was left out. */
  problems: { severity: 'error' | 'warning' | 'note'; text: string }[];
}

/**
 * Attributes an opened study in this thread, cell by cell.
 * @param kernels the compiled kernels
 * @throws VolaryError 'not-fit' with fewer than two usable tracks, 'interrupted'
 */
export async function attributeInline(kernels: WebAssembly.Module, study: OpenedStudy, options: AttributeOptions = {}): Promise<AttributeResult> {
  const { value, unread } = await useInlineRunner(kernels, study, options.signal, (makeRunner) => runStudy(kernels, study, options, makeRunner));
  return describeResult(study, value, unread);
}

/** Attributes an opened study with a pool of workers that have opened it too; the pool is closed in any case. Throws like attributeInline. @param kernels the compiled kernels, with which this thread decides */
export async function attributePooled(kernels: WebAssembly.Module, pool: WorkerPool, study: OpenedStudy, options: AttributeOptions = {}): Promise<AttributeResult> {
  const { value, unread } = await usePooledRunner(pool, options.signal, (makeRunner) => runStudy(kernels, study, options, makeRunner));
  return describeResult(study, value, unread);
}

/** Gives the runner of the jobs that read audio, once the plan of a study is known. */
export type MakeRunner = (settings: AnalysisSettings, plan: CellPlan) => CellRunner;

/** What came of work with a runner, and what of the recordings could not be read meanwhile, one line each. */
export interface RunnerOutcome<T> { value: T; unread: readonly string[] }

/** Lends a runner that works in this thread; the study's files are closed in any case. */
export async function useInlineRunner<T>(kernels: WebAssembly.Module, study: OpenedStudy, signal: AbortSignal | undefined, work: (makeRunner: MakeRunner) => Promise<T>): Promise<RunnerOutcome<T>> {
  const audio = new StudyAudio(study.timeline, (path) => study.openReader(path));
  try {
    const value = await work((settings, plan) => pauseBetweenJobs(createInlineRunner(new CellWorker(kernels, audio, settings, plan)), signal));
    return { value, unread: audio.problems.map((p) => p.text) };
  } finally {
    await audio.close();
  }
}

/** Lends a pool of workers as runner; the pool is closed in any case. */
export async function usePooledRunner<T>(pool: WorkerPool, signal: AbortSignal | undefined, work: (makeRunner: MakeRunner) => Promise<T>): Promise<RunnerOutcome<T>> {
  try {
    const value = await work(() => leaveOnAbort(pool, signal));
    return { value, unread: pool.problems };
  } finally {
    await pool.close();
  }
}

async function runStudy(kernels: WebAssembly.Module, study: OpenedStudy, options: AttributeOptions, makeRunner: MakeRunner): Promise<StudyResult> {
  requireNotAborted(options.signal);
  return attributeStudy(study.timeline, study.manifest, makeRunner, {
    maxOffsetSec: options.maxOffsetSec, onProgress: options.onProgress, onCalls: options.onCalls, rows: options.rows, onBeforeDecision: options.onBeforeDecision, checkpoint: options.checkpoint, kernels,
  });
}

function describeResult(study: OpenedStudy, result: StudyResult, unread: readonly string[]): AttributeResult {
  const problems: AttributeResult['problems'] = study.timeline.problems.map(({ severity, text }) => ({ severity, text }));
  for (const text of unread) problems.push({ severity: 'error', text });
  study.timeline.tracks.forEach((t, j) => {
    const sec = result.damagedSec[j];
    if (sec > 0) problems.push({ severity: 'error', text: `${quoteName(t.bird)}: ${sec.toFixed(3)} s cannot be read from its files; they count as lost` });
    const bad = result.nonFiniteCounts[j];
    if (bad > 0) problems.push({ severity: 'warning', text: `${quoteName(t.bird)}: ${describeNonFinite(bad)}` });
  });
  return { ...result, manifest: study.manifest, birds: study.timeline.tracks.map((t) => t.bird), problems };
}
