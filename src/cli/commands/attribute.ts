import type { Command } from 'commander';
import { EXIT, runCommand } from '../io.js';
import { addExamples, parseNumber, parseWhole } from '../options.js';

interface AttributeFlags { out: string; workers?: number; maxOffset?: number; force?: boolean }

/** `volary attribute study.json --out DIR`: the main job. */
export function addAttributeCommand(program: Command): void {
  const command = program.command('attribute')
    .description('find every call of a study and say who made it')
    .argument('<study>', 'study manifest, as draft writes it')
    .requiredOption('-o, --out <dir>', 'folder for the tables')
    .option('-w, --workers <n>', 'worker threads (default: one per core, at most 8)', parseWhole(1, 64))
    .option('--max-offset <s>', 'largest offset between recorders that is looked for, seconds (default 60)', parseNumber(0.1, 3600))
    .option('--force', 'replace tables that are there')
    .action((study: string, flags: AttributeFlags) => runCommand('attribute', async (io) => {
      const { attributeToFolder } = await import('../../node/attribute-to-folder.js');
      let shown = '';
      let progress: ReturnType<typeof io.progress> | undefined;
      const result = await attributeToFolder(study, flags.out, {
        workers: flags.workers, maxOffsetSec: flags.maxOffset, overwrite: flags.force,
        onNote: (text) => io.note(text),
        onProgress: (stage, done, total) => {
          if (stage !== shown) { progress?.end(); progress = io.progress(stage, total); shown = stage; }
          progress?.update(done);
        },
      });
      progress?.end();
      io.out(io.json ? JSON.stringify(result.summary) : result.text);
      return result.complete ? EXIT.done : EXIT.notFit;
    }));
  command.option('--json', 'print the summary as JSON');
  addExamples(command, ['volary attribute study.json --out result', 'volary attribute study.json --out result --workers 2 --force']);
}
