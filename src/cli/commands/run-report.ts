import { readFileSync } from 'node:fs';
import { stat } from 'node:fs/promises';
import { join } from 'node:path';
import { listKnownBirds } from '../../analysis/exclusions/known-birds.js';
import { loadKernelsFile } from '../../node/kernels-file.js';
import { readJsonFile, readRunFile } from '../../node/run-record.js';
import { loadStudy } from '../../node/study-files.js';
import { requireResultOf } from '../../node/study-inputs.js';
import type { StudyOnDisk } from '../../node/study-files.js';
import { findStudyPath } from '../../node/study-path.js';
import { refuseExisting, writeFileAtomic } from '../../node/write-files.js';
import { buildReport, chooseExcerpts, measureEvidence, renderExcerpts } from '../../report/index.js';
import type { Excerpt, ReportInput, ReportStudy, RunRecord } from '../../report/index.js';
import { quoteName, VolaryError } from '../../schema/errors.js';
import type { Score } from '../../score/score-calls.js';
import { SCORE_SCHEMA_VERSION } from '../../score/score-json.js';
import type { VerifiedScore } from '../../score/score-verified.js';
import { StudyAudio } from '../../study/study-audio.js';
import { parseCsv } from '../../table/csv-table.js';
import { readLabels } from '../../table/labels.js';
import { clockTable, soundTable, trackTable } from '../../table/table-specs.js';
import type { TableSpec } from '../../table/table-specs.js';
import { EXIT } from '../io.js';
import type { CommandIo } from '../io.js';
import { readRefit } from './read-refit.js';
import { readReportTables } from './read-report-tables.js';
import { readCalls, readTextFile } from './read-result.js';
import type { ReportCommandOptions } from './report.js';

const EXCERPT_SEC = 8;

/** What `volary report` does. */
export async function runReport(io: CommandIo, folder: string, options: ReportCommandOptions): Promise<number> {
  const path = options.output ?? join(folder, 'report.html');
  const calls = await readCalls(folder);
  await refuseExisting(path, { overwrite: options.force });
  const record = await readRecord(folder);
  const study = await openStudy(io, folder, record, options);
  const tables = {
    calls, sounds: await readTable(folder, soundTable), clock: await readTable(folder, clockTable), hours: await readTable(folder, trackTable),
  };
  const labels = options.labels === undefined ? undefined : readLabels(await readTextFile(options.labels, 'give a CSV file with the columns bird, onset_s and offset_s'), options.labels);
  const names = nameStudy(study, record, tables);
  const silent: ReportInput = { ...tables, study: names, run: record, ...(await readScore(io, folder)), ...(await readReportTables(io, folder, listKnownBirds(tables.hours, calls))), labels, excerpts: [], evidence: [], version: readVersion() };
  const input = study.disk ? await addSound(io, silent, study.disk, options) : { ...silent, withoutSound: study.why };
  const html = buildReport(input);
  await writeFileAtomic(path, html, { overwrite: options.force });
  const bytes = new TextEncoder().encode(html).length;
  const summary = { file: path, bytes, calls: calls.length, excerpts: input.excerpts.length, scored: Boolean(input.score ?? input.verified), sound: input.withoutSound === undefined };
  io.out(io.json ? JSON.stringify(summary, null, 1) : `wrote ${quoteName(path)} (${(bytes / 1e6).toFixed(2)} MB): open it in a browser`);
  return EXIT.done;
}

interface FoundStudy { disk?: StudyOnDisk; why?: string }

type FoundRecord = RunRecord & { study?: unknown; name?: unknown };

/** The study on disk; where it cannot be had, the report is made from the tables alone, unless the user named it. */
async function openStudy(io: CommandIo, folder: string, record: FoundRecord, options: ReportCommandOptions): Promise<FoundStudy> {
  if (!options.sound && options.at !== undefined) throw new VolaryError('bad-option', { where: '--at', what: 'draws sound, but --no-sound was given', expected: 'one of the two' });
  const path = options.study ?? await findStudyPath(folder, record.study);
  if (!options.sound && options.study === undefined) return { why: 'Made without reading the recordings, as asked.' };
  if (path === undefined) {
    io.note('volary report: run.json names no study; no spectrograms (give the manifest with --study)');
    return { why: 'The study manifest is not known.' };
  }
  try {
    const disk = await loadStudy(path);
    await requireResultOf(disk, folder);
    return { disk };
  } catch (error) {
    if (options.study !== undefined || !(error instanceof VolaryError)) throw error;
    io.note(`volary report: ${error.message}; no spectrograms (give the manifest with --study)`);
    return { why: 'The study manifest could not be read.' };
  }
}

/** Pictures and levels from the recordings; a failure costs the pictures, never the report. */
async function addSound(io: CommandIo, input: ReportInput, disk: StudyOnDisk, options: ReportCommandOptions): Promise<ReportInput> {
  if (!options.sound) return { ...input, withoutSound: 'Made without reading the recordings, as asked.' };
  const { timeline } = disk;
  if (!timeline.tracks.length) {
    io.note(`volary report: ${timeline.problems[0]?.text ?? 'no track can be read'}; no spectrograms`);
    return { ...input, withoutSound: 'The recordings could not be read.' };
  }
  const audio = new StudyAudio(timeline, disk.openReader);
  const progress = io.progress('reading excerpts', 2);
  try {
    const kernels = await loadKernelsFile();
    const shared = { clock: input.clock, gainsDb: input.run.gainsDb ?? {} };
    const excerpts = await renderExcerpts(kernels, audio, pickExcerpts(input, timeline.durationSec, options), shared);
    progress.update(1);
    const evidence = await measureEvidence(kernels, audio, input.calls, { ...shared, bandHz: readBandHz(input.run, timeline.sampleRateHz) });
    for (const problem of audio.problems) io.note(`volary report: ${problem.text}`);
    return { ...input, excerpts, evidence };
  } finally {
    progress.end();
    await audio.close();
  }
}

function pickExcerpts(input: ReportInput, durationSec: number, options: ReportCommandOptions): Excerpt[] {
  if (!options.at) return chooseExcerpts(input.calls, { count: options.excerpts, lengthSec: Math.min(EXCERPT_SEC, durationSec), durationSec });
  return options.at.map((startSec) => {
    if (startSec >= durationSec) throw new VolaryError('bad-option', { where: '--at', what: 'after the end of the study', got: `${startSec} s`, expected: `less than ${durationSec} s` });
    return { startSec, endSec: Math.min(durationSec, startSec + EXCERPT_SEC) };
  });
}

function readBandHz(run: RunRecord, sampleRateHz: number): [number, number] {
  const band = (run.settings as { bandHz?: unknown } | undefined)?.bandHz;
  const isBand = Array.isArray(band) && band.length === 2 && band.every((v) => typeof v === 'number' && Number.isFinite(v)) && band[0] < band[1];
  return isBand ? [band[0] as number, Math.min(band[1] as number, 0.49 * sampleRateHz)] : [400, Math.min(11000, 0.45 * sampleRateHz)];
}

function nameStudy({ disk }: FoundStudy, record: FoundRecord, tables: Pick<ReportInput, 'hours' | 'clock'>): ReportStudy {
  if (disk) {
    const { name, note, start, recorders, tracks } = disk.manifest;
    return { name, note, start, recorders: recorders.map((r) => r.name), tracks: tracks.map((t) => ({ bird: t.bird, recorder: t.recorder })) };
  }
  const tracks = new Map(tables.hours.map((h) => [h.track, h.recorder]));
  const recorders = [...new Set([...tracks.values(), ...tables.clock.map((r) => r.recorder)])];
  // The reference clock has no row in clock.csv.
  recorders.sort((a, b) => Number(tables.clock.some((r) => r.recorder === a)) - Number(tables.clock.some((r) => r.recorder === b)));
  return { name: typeof record.name === 'string' && record.name ? record.name : 'Study', recorders, tracks: [...tracks].map(([bird, recorder]) => ({ bird, recorder })) };
}

/** A table that may be missing is empty; a damaged one is an error. */
async function readTable<Row>(folder: string, table: TableSpec<Row>): Promise<Row[]> {
  const path = join(folder, `${table.name}.csv`);
  return (await isFile(path)) ? parseCsv(table, await readTextFile(path, ''), path) : [];
}

async function readRecord(folder: string): Promise<FoundRecord> {
  const value = await readRunFile(folder);
  const refit = await readRefit(folder, value);
  if (!value) return refit ? { refit } : {};
  const gains = Object.entries((value.gainsDb ?? {}) as Record<string, unknown>).filter((e): e is [string, number] => typeof e[1] === 'number' && Number.isFinite(e[1]));
  const durationSec = typeof value.durationSec === 'number' && value.durationSec > 0 ? value.durationSec : undefined;
  return {
    study: value.study, name: value.name, durationSec, settings: value.settings, versions: value.versions, inputs: value.inputs, ...(refit ? { refit } : {}),
    ...(gains.length ? { gainsDb: Object.fromEntries(gains) } : {}), ...(typeof value.kernelHash === 'string' ? { kernelHash: value.kernelHash } : {}),
  };
}

/** The score, where there is one that is no older than the calls it judges. */
async function readScore(io: CommandIo, folder: string): Promise<Pick<ReportInput, 'score' | 'verified'>> {
  const path = join(folder, 'score.json');
  if (!(await isFile(path))) return {};
  const [scored, called] = await Promise.all([stat(path), stat(join(folder, 'calls.csv'))]);
  if (scored.mtimeMs < called.mtimeMs) {
    io.note("volary report: score.json is older than calls.csv and is left out; run 'volary score' again");
    return {};
  }
  const value = await readJsonFile(path);
  const isKnown = value.schemaVersion === SCORE_SCHEMA_VERSION && (value.kind === 'volary-score' || value.kind === 'volary-verified-score');
  if (!isKnown) throw new VolaryError('bad-table', { where: quoteName(path), what: 'not a score of this version', got: `${String(value.kind)} ${String(value.schemaVersion)}`, mend: "run 'volary score' again" });
  return value.kind === 'volary-score' ? { score: value as unknown as Score } : { verified: value as unknown as VerifiedScore };
}

async function isFile(path: string): Promise<boolean> {
  return (await stat(path).catch(() => undefined))?.isFile() === true;
}

function readVersion(): string {
  return (JSON.parse(readFileSync(new URL('../../../package.json', import.meta.url), 'utf8')) as { version: string }).version;
}
