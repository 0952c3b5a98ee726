import type { Command } from 'commander';
import { EXIT, runCommand } from '../io.js';
import type { CommandIo } from '../io.js';
import { addExamples } from '../options.js';

interface CheckOptions { full?: boolean; picture?: string; force?: boolean; json?: boolean }

/** Adds `check`: tells whether every track of a study is fit to use. */
export function addCheckCommand(program: Command): void {
  const command = program.command('check')
    .description('look at every track of a study: format, span, gaps, overlaps, clock steps, clipping, DC, hum, silence, dropouts, level; the exit status is 0 where the study is fit to use and 1 where it is not')
    .argument('<study>', 'study manifest, such as study.json')
    .option('--full', 'read every sample; without it, long studies are read in blocks spread evenly')
    .option('--picture <file>', 'draw the timeline into an SVG file')
    .option('--force', 'replace the picture if it is there')
    .option('--json', 'print the result as JSON')
    .action((study: string, options: CheckOptions) => runCommand('check', (io) => check(study, options, io)));
  addExamples(command, [
    'volary check study.json',
    'volary check study.json --full --picture timeline.svg',
    'volary check study.json --json > check.json',
  ]);
}

async function check(path: string, options: CheckOptions, io: CommandIo): Promise<number> {
  const { loadStudy } = await import('../../node/study-files.js');
  const { refuseExisting, writeFileAtomic } = await import('../../node/write-files.js');
  const { StudyAudio } = await import('../../study/study-audio.js');
  const { checkStudy } = await import('../../study/check-study.js');
  const { describeCheck, toCheckJson } = await import('../describe-check.js');
  if (options.picture !== undefined) await refuseExisting(options.picture, { overwrite: options.force });
  let reading: { update(done: number): void; end(): void } | undefined;
  const study = await loadStudy(path, (done, total) => (reading ??= io.progress('reading headers', total, 'files')).update(done));
  reading?.end();
  const { timeline } = study;
  const audio = new StudyAudio(timeline, study.openReader);
  let progress: { update(done: number): void; end(): void } | undefined;
  try {
    const report = await checkStudy({
      manifest: study.manifest, headers: study.headers, timeline, audio, isFull: options.full === true,
      onProgress: (done, total) => (progress ??= io.progress('checking', total, 'audio_s')).update(done),
    });
    progress?.end();
    io.out(io.json ? JSON.stringify(toCheckJson(report, timeline.durationSec, timeline.sampleRateHz), null, 2) : describeCheck(report, timeline.durationSec));
    if (options.picture !== undefined) {
      const { drawTimeline } = await import('../../study/timeline-picture.js');
      await writeFileAtomic(options.picture, drawTimeline(timeline, report, study.manifest.name, study.manifest.start), { overwrite: options.force });
      io.note(`volary check: wrote ${JSON.stringify(options.picture)}`);
    }
    return report.isFit ? EXIT.done : EXIT.notFit;
  } finally {
    progress?.end();
    await audio.close();
  }
}
