import { availableParallelism } from 'node:os';
import {
  attributeInline, attributePooled, useInlineRunner, usePooledRunner, type AttributeOptions, type AttributeResult, type MakeRunner, type RunnerOutcome,
} from '../api/attribute-opened.js';
import { createCellPool } from './cell-pool.js';
import { loadKernelsFile } from './kernels-file.js';
import { loadStudy, type StudyOnDisk } from './study-files.js';

export interface AttributeStudyOptions extends AttributeOptions {
  /** Worker threads; 0 = none, all in this thread. Default one per core, at most 8. The tables are the same for any number. */
  workers?: number;
  /** Build of the kernels; default `plain`: the same bytes on every machine. */
  kernels?: 'plain' | 'relaxed';
}

const MOST_WORKERS = 8;

/**
 * Finds every call of a study on disk and says who made it; writes nothing.
 * @param manifestPath path of the study's manifest
 * @throws VolaryError 'missing', 'unreadable' or 'bad-study' about the manifest, 'not-fit' with fewer than two usable tracks, 'interrupted'
 * @example const result = await attributeStudyFile('study.json'); console.log(result.calls.length);
 */
export async function attributeStudyFile(manifestPath: string, options: AttributeStudyOptions = {}): Promise<AttributeResult> {
  return attributeLoadedStudy(await loadStudy(manifestPath), options);
}

/** Like attributeStudyFile, for a study that was loaded before. */
export async function attributeLoadedStudy(study: StudyOnDisk, options: AttributeStudyOptions = {}): Promise<AttributeResult> {
  const workers = countWorkers(options);
  const kernels = await loadKernelsFile(options.kernels);
  if (workers <= 0) return attributeInline(kernels, study, options);
  return attributePooled(kernels, createCellPool(study, workers, options.kernels), study, options);
}

/** Lends work on a study the runner that its options ask for. */
export async function useStudyRunner<T>(study: StudyOnDisk, options: AttributeStudyOptions, work: (makeRunner: MakeRunner) => Promise<T>): Promise<RunnerOutcome<T>> {
  const workers = countWorkers(options);
  if (workers <= 0) return useInlineRunner(await loadKernelsFile(options.kernels), study, options.signal, work);
  return usePooledRunner(createCellPool(study, workers, options.kernels), options.signal, work);
}

function countWorkers(options: AttributeStudyOptions): number {
  return options.workers ?? Math.min(MOST_WORKERS, availableParallelism());
}
