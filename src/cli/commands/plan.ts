import type { Command } from 'commander';
import type { TagPlanFile } from '../../analysis/plan/read-plan.js';
import type { TrialAccuracy } from '../../analysis/plan/trial-accuracy.js';
import { EXIT, runCommand } from '../io.js';
import type { CommandIo } from '../io.js';
import { addExamples } from '../options.js';

export interface PlanCommandOptions { out?: string; force?: boolean; json?: boolean; trial: boolean }

const NAMES = ['plan-birds.csv', 'plan-carriers.csv', 'plan-clashes.csv', 'plan-schedule.csv', 'plan-result.json'];

/** Adds `plan`: will these tags, carriers, batteries and disks do, before a bird is caught? */
export function addPlanCommand(program: Command): void {
  const command = program.command('plan')
    .description('check a plan before a bird is tagged: tag mass, carriers, batteries, storage, and the accuracy that the simulator gives for the room; exit status 1 where something is to mend')
    .argument('<plan>', 'plan (JSON): birds with their mass and tag, radio, battery, recording; docs/plan.md says what each field means')
    .option('-o, --out <dir>', 'also write the tables (plan-birds.csv, plan-carriers.csv, plan-clashes.csv, plan-schedule.csv, plan-result.json) to this folder')
    .option('--no-trial', 'simulate nothing, also where the plan has a "trial"')
    .option('--force', 'replace files that are there')
    .option('--json', 'print the plan as JSON')
    .action((path: string, options: PlanCommandOptions) => runCommand('plan', (io) => runPlan(io, path, options)));
  addExamples(command, ['volary plan plan.json', 'volary plan plan.json --out plan --json', 'volary plan plan.json --no-trial    at once, without the simulated recordings']);
}

async function runPlan(io: CommandIo, path: string, options: PlanCommandOptions): Promise<number> {
  const { join } = await import('node:path');
  const { parsePlan } = await import('../../analysis/plan/read-plan.js');
  const { makePlan } = await import('../../analysis/plan/make-plan.js');
  const { formatPlan, formatPlanFiles, planToJson } = await import('../../analysis/plan/format-plan.js');
  const { prepareFolder, writeFileAtomic } = await import('../../node/write-files.js');
  const { readTextFile } = await import('./read-result.js');
  const file = parsePlan(await readTextFile(path, 'write a plan first: docs/plan.md has one to start from'), path);
  const plan = makePlan(file);
  if (options.out !== undefined) await prepareFolder(options.out, NAMES, { overwrite: options.force });
  if (file.trial && options.trial) plan.accuracy = await runTrial(io, path, file.trial);
  if (options.out !== undefined) {
    for (const [name, text] of Object.entries(formatPlanFiles(plan))) await writeFileAtomic(join(options.out, name), text, { overwrite: options.force });
  }
  io.out(io.json ? JSON.stringify(planToJson(plan), null, 1) : formatPlan(plan));
  return plan.faults.length ? EXIT.notFit : EXIT.done;
}

/** Simulates the recordings that the plan asks for; a scene is read from beside the plan. */
async function runTrial(io: CommandIo, planPath: string, trial: NonNullable<TagPlanFile['trial']>): Promise<TrialAccuracy> {
  const { dirname, resolve } = await import('node:path');
  const { tryPlan } = await import('../../node/try-plan.js');
  const { parseScene } = await import('../../simulate/parse-scene.js');
  const { drawRandomScene } = await import('../../simulate/random-scene.js');
  const { loadSamples, nameFile, readScene } = await import('./simulate.js');
  const seeds = Array.from({ length: trial.runs ?? 3 }, (_, n) => (trial.seed ?? 1) + n);
  const path = trial.scene === undefined ? undefined : resolve(dirname(planPath), trial.scene);
  const scene = path === undefined ? undefined : await readScene(path);
  const sampleAudio = scene && await loadSamples((await nameFile(path, () => parseScene(scene))).voices, path);
  const progress = io.progress('simulated recordings', seeds.length);
  try {
    const runs = seeds.map((seed) => (scene ? { scene, seed, sampleAudio } : { scene: drawRandomScene(seed, trial.room), seed }));
    return await tryPlan(runs, trial.scene ?? `rooms of kind ${trial.room}`, (done) => progress.update(done));
  } finally {
    progress.end();
  }
}
