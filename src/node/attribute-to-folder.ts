import { createHash } from 'node:crypto';
import { stat } from 'node:fs/promises';
import { join, resolve } from 'node:path';
import type { AttributeOptions, AttributeResult } from '../api/attribute-opened.js';
import { formatTables, formatTablesParquet } from '../api/format-tables.js';
import { requireTracks } from '../pipeline/attribute-study.js';
import { packBytes, unpackBytes } from '../pipeline/pack-bytes.js';
import { quoteName } from '../schema/errors.js';
import { attributeLoadedStudy } from './attribute-study-file.js';
import { collectGarbage } from './collect-garbage.js';
import { holdsWork, openCheckpointFolder, type CheckpointFolder, type CheckpointHeader } from './checkpoint-folder.js';
import { countSampleBlocks, sampleFile } from './fingerprint-file.js';
import { readKernelsFile, requireKernels, type KernelKind } from './kernels-file.js';
import { readVersion } from './read-version.js';
import { loadStudy, type StudyOnDisk } from './study-files.js';
import { describeInputs } from './study-inputs.js';
import { nameStudyPath } from './study-path.js';
import { TableSpool, type CallerCount } from './table-spool.js';
import { prepareFolder, sweepUnfinished, writeFileAtomic, type FileContent } from './write-files.js';

/** Rows go into the folder. */
export interface AttributeToFolderOptions extends Omit<AttributeOptions, 'rows' | 'onBeforeDecision'> {
  /** Worker threads; 0 = none, all in this thread. Default one per core, at most 8. */
  workers?: number;
  /** Build of the kernels; default `plain`: the same bytes on every machine. */
  kernels?: 'plain' | 'relaxed';
  /** Replaces tables that are there. */
  overwrite?: boolean;
  /** Told what is worth knowing about the recordings, one line each. */
  onNote?: (text: string) => void;
}

export interface AttributeOutcome {
  /** False where some of the study could not be used; what could was processed. */
  complete: boolean;
  text: string;
  summary: Record<string, unknown>;
}

/** Everything that is written into the folder of a result. */
export const RESULT_FILES = ['calls', 'sounds', 'clock', 'tracks'].flatMap((n) => [`${n}.csv`, `${n}.parquet`]).concat('datapackage.json', 'csv-metadata.json', 'run.json');

/** Folder inside the result that holds finished work until the tables are written. */
const WORK = 'unfinished';
/** Key in the finished work: from now on tables in the result are this run's own. It is empty, and the outcome once all of them are written. */
const WRITING = 'writing-tables';

/** Attributes a study on disk and writes all tables; a run that was stopped goes on from the work it had finished. */
export async function attributeToFolder(manifestPath: string, folder: string, options: AttributeToFolderOptions = {}): Promise<AttributeOutcome> {
  const run = await prepareRun(manifestPath, options);
  await prepareTables(folder, WORK, run.header, options);
  const work = await openCheckpointFolder(join(folder, WORK), run.header, { discard: options.overwrite, onDamage: options.onNote });
  if (work.isResumed) options.onNote?.('going on where an earlier run stopped');
  return finishRun(run, folder, work, options);
}

/** A study whose files were looked at, and all that finished work on it depends on. */
export interface PreparedRun {
  study: StudyOnDisk;
  inputs: unknown[];
  kernels: KernelKind;
  kernelHash: string;
  header: CheckpointHeader;
  /** How much of the study is not what it claims to be. */
  problemCount: number;
}

/** Reads a study, tells what is wrong with its recordings and takes their fingerprints. */
export async function prepareRun(manifestPath: string, options: AttributeToFolderOptions): Promise<PreparedRun> {
  const kernels = options.kernels ?? 'plain';
  requireKernels(kernels);
  const study = await loadStudy(manifestPath);
  // A header that lies or a file that is cut short is worth a warning while the rest is used, but the study is not what it claims to be.
  const bad = study.timeline.problems.filter((p) => p.severity === 'error' || p.kind === 'header');
  for (const p of study.timeline.problems) if (p.severity !== 'note') options.onNote?.(`${p.severity}: ${p.text}`);
  requireTracks(study.timeline);
  const inputs = await describeInputs(study);
  const kernelHash = createHash('sha256').update(readKernelsFile(kernels)).digest('hex');
  const header = { schema: 6, volary: readVersion(), kernels, kernelHash, manifest: study.manifest, maxOffsetSec: options.maxOffsetSec ?? 60, inputs, ...await sampleInputs(study) };
  return { study, inputs, kernels, kernelHash, header, problemCount: bad.length };
}

/**
 * Makes sure that the tables may be written: tables that are there are only replaced when told, or when a run of just this study and these settings was stopped while it wrote them.
 * @param workName the folder of finished work inside the result
 * @param header what that work depends on
 * @throws VolaryError 'exists'
 */
export async function prepareTables(folder: string, workName: string, header: CheckpointHeader, options: { overwrite?: boolean }): Promise<void> {
  return replaceTables(folder, await holdsWork(join(folder, workName), header, WRITING), options);
}

async function replaceTables(folder: string, wasWriting: boolean, options: { overwrite?: boolean }): Promise<void> {
  await prepareFolder(folder, RESULT_FILES, { overwrite: options.overwrite || wasWriting });
  if (wasWriting) await sweepUnfinished(folder, RESULT_FILES);
}

/** True where a run was stopped after it had begun to write its tables and before its finished work was removed. */
function isWritingTables(folder: string, workName: string): Promise<boolean> {
  return stat(join(folder, workName, `${WRITING}.part`)).then(() => true, () => false);
}

/** Makes sure that a result can be begun in a folder as 'attributeToFolder' would. Throws VolaryError 'exists'. */
export async function prepareResult(folder: string, options: { overwrite?: boolean }): Promise<void> {
  return replaceTables(folder, await isWritingTables(folder, WORK), options);
}

/** True where all tables of a result were written, the record of the run last, and nothing of it is left to do. */
export async function isResultWhole(folder: string): Promise<boolean> {
  return await stat(join(folder, 'run.json')).then(() => true, () => false) && !await isWritingTables(folder, WORK);
}

/** True where a run had written all its tables and was stopped before its finished work was removed. */
export async function areTablesWritten(work: CheckpointFolder): Promise<boolean> {
  return Boolean((await work.load(WRITING))?.length);
}

/** Does what is not yet finished, writes all tables and removes the finished work; stopped at any moment, it can be started again. */
export async function finishRun(run: PreparedRun, folder: string, work: CheckpointFolder, options: AttributeToFolderOptions): Promise<AttributeOutcome> {
  const { study } = run;
  const earlier = await work.load(WRITING);
  if (earlier?.length) {
    await work.clear(WRITING);
    return unpackBytes(earlier) as AttributeOutcome;
  }
  const spool = await TableSpool.open(work.folder);
  try {
    const result = await attributeLoadedStudy(study, { ...options, checkpoint: work, rows: spool, onBeforeDecision: collectGarbage });
    const found = result.problems.slice(study.timeline.problems.length);
    for (const p of found) options.onNote?.(`${p.severity}: ${p.text}`);
    const unread = found.filter((p) => p.severity === 'error');
    await work.save(WRITING, new Uint8Array(0));
    await writeTables(folder, run, result, spool);
    const outcome = describe(study, result, spool.callers, folder, run.problemCount + unread.length);
    await work.save(WRITING, packBytes(outcome));
    spool.close();
    await work.clear(WRITING);
    return outcome;
  } finally {
    spool.close();
  }
}

async function writeTables(folder: string, run: PreparedRun, result: AttributeResult, spool: TableSpool): Promise<void> {
  const write = (name: string, data: FileContent): Promise<void> => writeFileAtomic(join(folder, name), data, { overwrite: true });
  // Calls and sounds are in the spool.
  const files = { ...formatTablesParquet(result), ...formatTables(result, run.study.manifest.name), ...spool.finish() };
  for (const [name, data] of Object.entries(files)) await write(name, data);
  await write('run.json', `${JSON.stringify(describeRun(await nameStudyPath(folder, run.study.manifestPath), run, result), null, 2)}\n`);
}

/** What makes a result repeatable: versions, kernels, settings, what the input files were. No moment of running, no place: the same input gives the same bytes. */
function describeRun(studyPath: string, { study, inputs, kernels, kernelHash }: PreparedRun, result: AttributeResult): Record<string, unknown> {
  return {
    schema: 1, study: studyPath, name: study.manifest.name,
    versions: { volary: readVersion(), node: process.version }, kernels, kernelHash, durationSec: result.durationSec, settings: result.settings,
    gainsDb: Object.fromEntries(study.timeline.tracks.map((t, j) => [t.bird, Number(result.gainDb[j].toFixed(3))])),
    inputs,
  };
}

/** Digest of each file's content here and there, under a key that names the file: work is not gone on with where a recording was replaced by another of the same length. */
async function sampleInputs(study: StudyOnDisk): Promise<Record<string, string | null>> {
  const paths = [...study.headers].flatMap(([path, header]) => ('info' in header ? [path] : []));
  const blockCount = countSampleBlocks(paths.length);
  const samples: Record<string, string | null> = {};
  for (const path of paths) samples[`content of ${quoteName(path)}`] = await sampleFile(resolve(study.folder, path), blockCount);
  return samples;
}

function describe(study: StudyOnDisk, result: AttributeResult, callers: ReadonlyMap<string, CallerCount>, folder: string, problemCount: number): AttributeOutcome {
  const perBird = [...study.timeline.tracks.map((t) => t.bird), 'none'].map((bird) => ({ bird, ...callers.get(bird) ?? { calls: 0, expected: 0 } }));
  const calls = perBird.reduce((sum, b) => sum + b.calls, 0), width = Math.max(...perBird.map((b) => b.bird.length), 4);
  const lines = [
    `${study.manifest.name}: ${calls} calls in ${formatDuration(result.durationSec)}`,
    `${'bird'.padEnd(width)}  calls  sure`,
    ...perBird.map((b) => `${b.bird.padEnd(width)}  ${String(b.calls).padStart(5)}  ${b.calls ? `${((100 * b.expected) / b.calls).toFixed(1)} %` : '-'}`),
    `tables in ${folder}`,
  ];
  return {
    complete: problemCount === 0, text: lines.join('\n'),
    summary: { calls, durationSec: result.durationSec, perBird, folder, problems: problemCount },
  };
}

function formatDuration(sec: number): string {
  if (sec < 120) return `${sec.toFixed(1)} s`;
  return sec < 7200 ? `${(sec / 60).toFixed(1)} min` : `${(sec / 3600).toFixed(2)} h`;
}
