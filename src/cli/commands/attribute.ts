import { Option, type Command } from 'commander';
import type { AttributeOutcome, AttributeToFolderOptions } from '../../node/attribute-to-folder.js';
import type { KernelKind } from '../../node/kernels-file.js';
import { VolaryError } from '../../schema/errors.js';
import { EXIT, runCommand } from '../io.js';
import { addExamples, parseNumber, parseWhole } from '../options.js';

interface AttributeFlags { out: string; workers?: number; maxOffset?: number; force?: boolean; plan?: number; part?: number; merge?: boolean; kernels?: KernelKind }

const MOST_PARTS = 100_000;

/** `volary attribute study.json --out DIR`: the main job, whole or in parts. */
export function addAttributeCommand(program: Command): void {
  const command = program.command('attribute')
    .description('find every call of a study and say who made it')
    .argument('<study>', 'study manifest, as draft writes it')
    .requiredOption('-o, --out <dir>', 'folder for the tables')
    .option('-w, --workers <n>', 'worker threads (default: one per core, at most 8)', parseWhole(1, 64))
    .option('--max-offset <s>', 'largest offset between recorders that is looked for, seconds (default 60)', parseNumber(0.1, 3600))
    .addOption(new Option('--kernels <kind>', 'plain: the same bytes on every machine (default); relaxed: fused multiply-add where the processor has it').choices(['plain', 'relaxed']))
    .option('--plan <n>', 'for several machines: calibrate and divide the work into n parts', parseWhole(1, MOST_PARTS))
    .option('--part <k>', 'do part k of the plan in DIR; again does no harm', parseWhole(1, MOST_PARTS))
    .option('--merge', 'write the tables from all parts')
    .option('--force', 'replace tables, or a plan, that are there')
    .action((study: string, flags: AttributeFlags) => runCommand('attribute', async (io) => {
      requireOneStep(flags);
      let shown = '';
      let progress: ReturnType<typeof io.progress> | undefined;
      const result = await runStep(study, flags, {
        workers: flags.workers, maxOffsetSec: flags.maxOffset, kernels: flags.kernels, overwrite: flags.force,
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
  addExamples(command, [
    'volary attribute study.json --out result', 'volary attribute study.json --out result --workers 2 --force',
    'volary attribute study.json --out result --plan 3    then --part 1, 2 and 3, anywhere, then --merge',
  ]);
}

function requireOneStep(flags: AttributeFlags): void {
  const given = [flags.plan !== undefined && '--plan', flags.part !== undefined && '--part', flags.merge && '--merge'].filter((f) => typeof f === 'string');
  if (given.length > 1) throw new VolaryError('bad-option', { what: 'one step at a time', got: given.join(' and '), expected: 'one of --plan, --part, --merge' });
  if (flags.part !== undefined && flags.force) throw new VolaryError('bad-option', { where: '--force', what: 'a part replaces nothing but its own damaged work', mend: 'leave it out' });
}

async function runStep(study: string, flags: AttributeFlags, options: AttributeToFolderOptions): Promise<AttributeOutcome> {
  const parts = await import('../../node/parts-to-folder.js');
  if (flags.plan !== undefined) return parts.planParts(study, flags.out, flags.plan, options);
  if (flags.part !== undefined) return parts.runPart(study, flags.out, flags.part, options);
  if (flags.merge) return parts.mergeParts(study, flags.out, options);
  const { attributeToFolder } = await import('../../node/attribute-to-folder.js');
  return attributeToFolder(study, flags.out, options);
}
