import { InvalidArgumentError } from 'commander';
import type { Command } from 'commander';
import { EXIT, runCommand } from '../io.js';
import type { CommandIo } from '../io.js';
import { addExamples, parseNumber, parseWhole } from '../options.js';

export interface ClipsCommandOptions { out: string; study?: string; margin: number; threshold: number; birds?: string[]; most?: number; force?: boolean; json?: boolean }

/** Adds `clips`: hear and share the calls of each bird. */
export function addClipsCommand(program: Command): void {
  const command = program.command('clips')
    .description('cut calls by bird into WAVE files, each with the call marked inside; regions.csv describes them with the terms of Audiovisual Core')
    .argument('<dir>', "folder that 'volary attribute' has written")
    .requiredOption('-o, --out <folder>', 'folder for the clips')
    .option('--study <file>', 'study manifest (default: the one that run.json names)')
    .option('--margin <s>', 'sound kept before and after each call', parseNumber(0, 60), 0.05)
    .option('--threshold <p>', 'cut calls of at least this probability', parseNumber(0, 1), 0.9)
    .option('--birds <a,b>', 'only these birds (none = callers without a tag)', parseNames)
    .option('--most <n>', "at most so many clips of each bird, spread evenly over its calls", parseWhole(1))
    .option('--force', 'replace clips that are there')
    .option('--json', 'print the summary as JSON')
    .action((folder: string, options: ClipsCommandOptions) => runCommand('clips', (io) => runClips(io, folder, options)));
  addExamples(command, ['volary clips result --out clips', 'volary clips result --out clips --birds red,blue --most 200 --margin 0.1']);
}

function parseNames(text: string): string[] {
  const names = text.split(',').map((n) => n.trim());
  if (names.includes('')) throw new InvalidArgumentError('expected names with commas between them');
  return names;
}

interface RunRecord { study?: unknown; settings?: { bandHz?: [number, number] } }

async function runClips(io: CommandIo, folder: string, options: ClipsCommandOptions): Promise<number> {
  const { join } = await import('node:path');
  const { clipsToFolder, requireOtherFolder } = await import('../../node/clips-to-folder.js');
  const { parseCsv } = await import('../../table/csv-table.js');
  const { clockTable } = await import('../../table/table-specs.js');
  const { readRunFile } = await import('../../node/run-record.js');
  const { loadStudy } = await import('../../node/study-files.js');
  const { requireResultOf } = await import('../../node/study-inputs.js');
  const { readCalls, readTextFile } = await import('./read-result.js');
  const calls = await readCalls(folder);
  await requireOtherFolder(folder, options.out);
  const clockPath = join(folder, 'clock.csv');
  const clock = parseCsv(clockTable, await readTextFile(clockPath, "run 'volary attribute' with --out and this folder first"), clockPath);
  const record: RunRecord = await readRunFile(folder) ?? {};
  const manifest = await findManifest(folder, record, options.study);
  await requireResultOf(await loadStudy(manifest), folder);
  const progress = io.progress('cutting', calls.length);
  const result = await clipsToFolder(manifest, options.out, {
    calls, clock, marginSec: options.margin, threshold: options.threshold, birds: options.birds, most: options.most, overwrite: options.force,
    bandHz: record.settings?.bandHz, onNote: (text) => io.note(text), onProgress: (done, total) => progress.update((done / total) * calls.length),
  });
  progress.end();
  if (result.skipped) io.note(`volary clips: ${result.skipped} call${result.skipped > 1 ? 's' : ''} left out: no sound on the track there`);
  if (result.older) io.note(`volary clips: ${result.older} WAVE file${result.older > 1 ? 's' : ''} in the same folders from before; regions.csv does not name them`);
  const counts = Object.entries(result.birds).map(([bird, count]) => `${bird} ${count}`).join(', ');
  io.out(io.json ? JSON.stringify(result) : `${result.clips} clips in ${result.folder}${counts ? ` (${counts})` : ''}`);
  return result.complete ? EXIT.done : EXIT.notFit;
}

async function findManifest(folder: string, record: RunRecord, given?: string): Promise<string> {
  const { join } = await import('node:path');
  const { findStudyPath } = await import('../../node/study-path.js');
  const { quoteName, VolaryError } = await import('../../schema/errors.js');
  const path = given ?? await findStudyPath(folder, record.study);
  if (path !== undefined) return path;
  throw new VolaryError('missing', { where: quoteName(join(folder, 'run.json')), what: 'names no study', mend: 'give the manifest with --study' });
}
