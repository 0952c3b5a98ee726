import { InvalidArgumentError } from 'commander';
import type { Command } from 'commander';
import { runCommand } from '../io.js';
import type { CommandIo } from '../io.js';
import { addExamples, parseUtcOffset } from '../options.js';

interface DraftOptions { output: string; name?: string; utcOffset?: number; force?: boolean; json?: boolean }

/** Adds `draft`: looks at a folder of recordings and writes a study manifest to edit. */
export function addDraftCommand(program: Command): void {
  const command = program.command('draft')
    .description('look at a folder of recordings and write a study manifest that a person can edit')
    .argument('<folder>', 'folder of recordings: a file per bird, files with a channel per bird, or series of files with a time in the name; a sub-folder per recorder; or with a channels.csv (file, bird, recorder, channel)')
    .option('-o, --output <file>', 'manifest to write', 'study.json')
    .option('--name <text>', 'name of the study (default: the name of the folder)', parseName)
    .option('--utc-offset <offset>', "how far the recorders' clocks were ahead of UTC, such as +02:00", parseUtcOffset)
    .option('--force', 'replace the manifest if it is there')
    .option('--json', 'print the summary as JSON')
    .action((folder: string, options: DraftOptions) => runCommand('draft', (io) => draft(folder, options, io)));
  addExamples(command, [
    'volary draft recordings -o study.json',
    'volary draft /data/may -o may.json --utc-offset +02:00   the recorders kept Central European summer time',
  ]);
}

async function draft(folder: string, options: DraftOptions, io: CommandIo): Promise<number> {
  const { draftFolder } = await import('../../node/draft-folder.js');
  const { refuseExisting, writeFileAtomic } = await import('../../node/write-files.js');
  const { formatManifest } = await import('../../study/manifest.js');
  const { describeDraft, summariseDraft } = await import('../describe-draft.js');
  await refuseExisting(options.output, { overwrite: options.force });
  let progress: { update(done: number): void; end(): void } | undefined;
  const result = await draftFolder(folder, options.output, { name: options.name, utcOffsetMin: options.utcOffset }, (done, total) => {
    progress ??= io.progress('reading headers', total, 'files');
    progress.update(done);
  });
  progress?.end();
  for (const line of result.draft.unusable) io.note(`volary draft: cannot use ${line}`);
  for (const line of result.draft.notes) io.note(`volary draft: note: ${line}`);
  const { manifest } = result.draft;
  if (!manifest) {
    const { VolaryError, quoteName } = await import('../../schema/errors.js');
    throw new VolaryError('no-data', { where: quoteName(folder), what: 'no sound file that can be used', mend: 'expected RIFF/WAVE, RF64, BW64, Wave64 or FLAC files' });
  }
  await writeFileAtomic(options.output, formatManifest(manifest), { overwrite: options.force });
  const summary = summariseDraft(options.output, result.draft, result.timeline);
  io.out(io.json ? JSON.stringify(summary, null, 2) : describeDraft(summary));
  return 0;
}

function parseName(text: string): string {
  if (text.trim() === '') throw new InvalidArgumentError('expected a name');
  return text;
}
