import type { Command } from 'commander';
import { EXIT, runCommand } from '../io.js';
import type { CommandIo } from '../io.js';
import { addExamples } from '../options.js';

export interface PlanCommandOptions { out?: string; force?: boolean; json?: boolean }

const NAMES = ['plan-birds.csv', 'plan-carriers.csv', 'plan-clashes.csv', 'plan-schedule.csv', 'plan-result.json'];

/** Adds `plan`: will these tags, carriers, batteries and disks do, before a bird is caught? */
export function addPlanCommand(program: Command): void {
  const command = program.command('plan')
    .description('check a plan before a bird is tagged: tag mass, carriers, batteries, storage; exit status 1 where something is to mend')
    .argument('<plan>', 'plan (JSON): birds with their mass and tag, radio, battery, recording; docs/plan.md says what each field means')
    .option('-o, --out <dir>', 'also write the tables (plan-birds.csv, plan-carriers.csv, plan-clashes.csv, plan-schedule.csv, plan-result.json) to this folder')
    .option('--force', 'replace files that are there')
    .option('--json', 'print the plan as JSON')
    .action((path: string, options: PlanCommandOptions) => runCommand('plan', (io) => runPlan(io, path, options)));
  addExamples(command, ['volary plan plan.json', 'volary plan plan.json --out plan --json']);
}

async function runPlan(io: CommandIo, path: string, options: PlanCommandOptions): Promise<number> {
  const { join } = await import('node:path');
  const { parsePlan } = await import('../../analysis/plan/read-plan.js');
  const { makePlan } = await import('../../analysis/plan/make-plan.js');
  const { formatPlan, formatPlanFiles, planToJson } = await import('../../analysis/plan/format-plan.js');
  const { prepareFolder, writeFileAtomic } = await import('../../node/write-files.js');
  const { readTextFile } = await import('./read-result.js');
  const plan = makePlan(parsePlan(await readTextFile(path, 'write a plan first: docs/plan.md has one to start from'), path));
  if (options.out !== undefined) {
    await prepareFolder(options.out, NAMES, { overwrite: options.force });
    for (const [name, text] of Object.entries(formatPlanFiles(plan))) await writeFileAtomic(join(options.out, name), text, { overwrite: options.force });
  }
  io.out(io.json ? JSON.stringify(planToJson(plan), null, 1) : formatPlan(plan));
  return plan.faults.length ? EXIT.notFit : EXIT.done;
}
