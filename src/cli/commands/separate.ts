import { Option } from 'commander';
import type { Command } from 'commander';
import type { WavEncoding } from '../../audio/wav-writer.js';
import { EXIT, runCommand } from '../io.js';
import type { CommandIo } from '../io.js';
import type { SeparationMark } from '../../node/separation-mark.js';
import { quoteName } from '../../schema/errors.js';
import type { ClockRow, SoundRow } from '../../schema/rows.js';
import { addExamples, parseNumber, parseWhole } from '../options.js';

interface SeparateFlags { out: string; calls?: string; encoding: string; keepNoise?: boolean; leastProbability?: number; workers?: number; force?: boolean }

/** `volary separate study.json --out DIR`: one track per bird with the others' voices removed. */
export function addSeparateCommand(program: Command): void {
  const command = program.command('separate')
    .description("write one track per bird with the other birds' voices removed; where no other bird calls, samples stay as they are")
    .argument('<study>', 'study manifest, as draft writes it')
    .requiredOption('-o, --out <dir>', 'folder for the tracks')
    .option('-c, --calls <dir>', "folder that 'volary attribute' has written for this study (default: attribute first, into DIR/calls)")
    .addOption(new Option('-e, --encoding <format>', 'sample format').choices(['same', 'pcm16', 'pcm24', 'float32']).default('same', "the widest among a track's files"))
    .option('--keep-noise', 'leave the noise under a voice as it is where others are removed')
    .option('--least-probability <p>', 'leave out calls less sure than this (default 0.5)', parseNumber(0, 1))
    .option('-w, --workers <n>', 'worker threads (default: one per core, at most 8); the tracks are the same for any number', parseWhole(1, 64))
    .option('--force', 'replace tracks that are there')
    .option('--json', 'print the summary as JSON')
    .action((study: string, flags: SeparateFlags) => runCommand('separate', (io) => runSeparate(io, study, flags)));
  addExamples(command, ['volary separate study.json --calls result --out voices', 'volary separate study.json --out voices --encoding float32 --force']);
}

async function runSeparate(io: CommandIo, study: string, flags: SeparateFlags): Promise<number> {
  const { prepareSeparation } = await import('../../node/prepare-separation.js');
  const { separatePrepared } = await import('../../node/separate-to-folder.js');
  const { requireResultOf } = await import('../../node/study-inputs.js');
  const { readCalls } = await import('./read-result.js');
  const options = {
    encoding: flags.encoding === 'same' ? undefined : flags.encoding as WavEncoding,
    changes: { ...(flags.keepNoise ? { keepNoise: true } : {}), ...(flags.leastProbability === undefined ? {} : { leastProbability: flags.leastProbability }) },
    overwrite: flags.force, onNote: (text: string) => io.note(text),
  };
  const prepared = await prepareSeparation(study, flags.out, { ...options, callsFolder: flags.calls });
  const folder = flags.calls ?? await attributeFirst(io, study, flags, prepared.mark);
  const calls = await readCalls(folder);
  if (!await requireResultOf(prepared.study, folder)) {
    io.note(`warning: no run.json in ${quoteName(folder)} says which recordings the calls were found in: they are taken for calls of this study`);
  }
  const progress = makeProgress(io);
  const result = await separatePrepared(prepared, {
    ...options, calls, sounds: await readSounds(folder), clock: await readClock(folder), workers: flags.workers,
    onProgress: (done, total) => progress.show('separating', done, total, 'audio_s'),
  });
  progress.end();
  io.out(io.json ? JSON.stringify(result.summary) : result.text);
  return result.complete ? EXIT.done : EXIT.notFit;
}

async function attributeFirst(io: CommandIo, study: string, flags: SeparateFlags, mark: SeparationMark): Promise<string> {
  const { join } = await import('node:path');
  const { attributeToFolder, prepareResult } = await import('../../node/attribute-to-folder.js');
  const folder = join(flags.out, 'calls');
  if (await mark.ownsCalls(folder)) {
    io.note('going on with the calls that an earlier run had found before it was stopped');
    return folder;
  }
  // Only then are tables that lie there later on those of this command.
  await prepareResult(folder, { overwrite: flags.force });
  await mark.write();
  const progress = makeProgress(io);
  await attributeToFolder(study, folder, { overwrite: flags.force, onNote: (text) => io.note(text), onProgress: (stage, done, total) => progress.show(stage, done, total) });
  progress.end();
  await mark.write(true);
  return folder;
}

async function readClock(folder: string): Promise<ClockRow[]> {
  const { join } = await import('node:path');
  const { readTextFile } = await import('./read-result.js');
  const { parseCsv } = await import('../../table/csv-table.js');
  const { clockTable } = await import('../../table/table-specs.js');
  const path = join(folder, 'clock.csv');
  return parseCsv(clockTable, await readTextFile(path, "run 'volary attribute' with --out and this folder first"), path);
}

/** Other sounds; none where the folder has no table of them. */
async function readSounds(folder: string): Promise<SoundRow[]> {
  const { join } = await import('node:path');
  const { stat } = await import('node:fs/promises');
  const { readTextFile } = await import('./read-result.js');
  const { parseCsv } = await import('../../table/csv-table.js');
  const { soundTable } = await import('../../table/table-specs.js');
  const path = join(folder, 'sounds.csv');
  return await stat(path).catch(() => undefined) ? parseCsv(soundTable, await readTextFile(path, ''), path) : [];
}

/** One progress line after the other, a new one for each stage. */
function makeProgress(io: CommandIo): { show(stage: string, done: number, total: number, unit?: string): void; end(): void } {
  let shown = '', current: ReturnType<CommandIo['progress']> | undefined;
  return {
    show: (stage, done, total, unit) => {
      if (stage !== shown) { current?.end(); current = io.progress(stage, total, unit); shown = stage; }
      current?.update(done);
    },
    end: () => current?.end(),
  };
}
