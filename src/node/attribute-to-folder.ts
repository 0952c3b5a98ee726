import { createHash } from 'node:crypto';
import { readFileSync } from 'node:fs';
import { availableParallelism } from 'node:os';
import { join, resolve } from 'node:path';
import { attributeStudy, type StudyResult } from '../pipeline/attribute-study.js';
import { allTables } from '../table/table-specs.js';
import { formatCsv } from '../table/csv-table.js';
import { formatDataPackage } from '../table/data-package.js';
import { formatParquet } from '../table/parquet-table.js';
import { createCellPool } from './cell-pool.js';
import { readKernelsFile } from './kernels-file.js';
import { loadStudy, type StudyOnDisk } from './study-files.js';
import { prepareFolder, writeFileAtomic } from './write-files.js';

export interface AttributeToFolderOptions {
  workers?: number;
  maxOffsetSec?: number;
  overwrite?: boolean;
  onProgress?: (stage: string, done: number, total: number) => void;
  onNote?: (text: string) => void;
}

export interface AttributeOutcome {
  /** False where some of the study could not be used; what could was processed. */
  complete: boolean;
  text: string;
  summary: Record<string, unknown>;
}

const FILES = ['calls', 'sounds', 'clock', 'tracks'].flatMap((n) => [`${n}.csv`, `${n}.parquet`]).concat('datapackage.json', 'run.json');

/** Attributes a study on disk and writes all tables; nothing is written before all is computed. */
export async function attributeToFolder(manifestPath: string, folder: string, options: AttributeToFolderOptions = {}): Promise<AttributeOutcome> {
  const study = await loadStudy(manifestPath);
  const bad = study.timeline.problems.filter((p) => p.severity === 'error');
  for (const p of study.timeline.problems) if (p.severity !== 'note') options.onNote?.(`${p.severity}: ${p.text}`);
  await prepareFolder(folder, FILES, { overwrite: options.overwrite });
  const workers = Math.max(1, options.workers ?? Math.min(8, availableParallelism()));
  const pool = createCellPool(resolve(manifestPath), workers);
  let result: StudyResult;
  try {
    result = await attributeStudy(study.timeline, study.manifest, () => pool, { maxOffsetSec: options.maxOffsetSec, onProgress: options.onProgress });
  } finally {
    await pool.close();
  }
  for (const p of pool.problems) options.onNote?.(`error: ${p}`);
  await writeTables(folder, study, result);
  return describe(study, result, folder, bad.length + pool.problems.length);
}

async function writeTables(folder: string, study: StudyOnDisk, result: StudyResult): Promise<void> {
  const write = (name: string, data: string | Uint8Array): Promise<void> => writeFileAtomic(join(folder, name), data, { overwrite: true });
  const rows = { calls: result.calls, sounds: result.sounds, clock: result.clock, tracks: result.tracks } as unknown as Record<string, never[]>;
  for (const table of allTables) {
    const spec = table as unknown as Parameters<typeof formatCsv<never>>[0];
    await write(`${table.name}.parquet`, formatParquet(spec, rows[table.name]));
    await write(`${table.name}.csv`, formatCsv(spec, rows[table.name]));
  }
  await write('datapackage.json', formatDataPackage(study.manifest.name, allTables));
  await write('run.json', `${JSON.stringify(describeRun(folder, study, result), null, 2)}\n`);
}

/** What makes a result repeatable: versions, kernels, settings, what the input files were. No moment of running: the same input gives the same bytes. */
function describeRun(folder: string, study: StudyOnDisk, result: StudyResult): Record<string, unknown> {
  const version = (JSON.parse(readFileSync(new URL('../../package.json', import.meta.url), 'utf8')) as { version: string }).version;
  const inputs = [...study.headers].map(([path, header]) => ('info' in header
    ? { path, container: header.info.container, sampleRateHz: header.info.sampleRateHz, channelCount: header.info.channelCount, frameCount: header.info.frameCount }
    : { path, failure: header.failure }));
  return {
    schema: 1, study: resolve(study.manifestPath), folder: resolve(folder), name: study.manifest.name,
    versions: { volary: version, node: process.version }, kernelHash: createHash('sha256').update(readKernelsFile()).digest('hex'),
    durationSec: result.durationSec, settings: result.settings,
    gainsDb: Object.fromEntries(study.timeline.tracks.map((t, j) => [t.bird, Number(result.gainDb[j].toFixed(3))])),
    inputs,
  };
}

function describe(study: StudyOnDisk, result: StudyResult, folder: string, problemCount: number): AttributeOutcome {
  const perBird = [...study.timeline.tracks.map((t) => t.bird), 'none'].map((bird) => {
    const own = result.calls.filter((c) => c.bird === bird);
    return { bird, calls: own.length, expected: own.reduce((s, c) => s + c.probability, 0) };
  });
  const width = Math.max(...perBird.map((b) => b.bird.length), 4);
  const lines = [
    `${study.manifest.name}: ${result.calls.length} calls in ${formatDuration(result.durationSec)}`,
    `${'bird'.padEnd(width)}  calls  sure`,
    ...perBird.map((b) => `${b.bird.padEnd(width)}  ${String(b.calls).padStart(5)}  ${b.calls ? `${((100 * b.expected) / b.calls).toFixed(1)} %` : '-'}`),
    `tables in ${folder}`,
  ];
  return {
    complete: problemCount === 0, text: lines.join('\n'),
    summary: { calls: result.calls.length, durationSec: result.durationSec, perBird, folder, problems: problemCount },
  };
}

function formatDuration(sec: number): string {
  if (sec < 120) return `${sec.toFixed(1)} s`;
  return sec < 7200 ? `${(sec / 60).toFixed(1)} min` : `${(sec / 3600).toFixed(2)} h`;
}
