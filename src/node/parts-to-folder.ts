import { stat } from 'node:fs/promises';
import { join } from 'node:path';
import { nameBlock } from '../pipeline/extract-blocks.js';
import { calibrateForParts, divideStudy, extractPart, type StudyPart } from '../pipeline/study-parts.js';
import { quoteName, VolaryError } from '../schema/errors.js';
import { useStudyRunner } from './attribute-study-file.js';
import { areTablesWritten, finishRun, prepareRun, prepareTables, type AttributeOutcome, type AttributeToFolderOptions, type PreparedRun } from './attribute-to-folder.js';
import { openCheckpointFolder, readCheckpointHeader, type CheckpointFolder, type CheckpointHeader } from './checkpoint-folder.js';
import { formatRanges } from './format-ranges.js';
import type { KernelKind } from './kernels-file.js';
import { writeFileAtomic } from './write-files.js';

/** Folder inside the result that holds the plan and the evidence of all parts until they are merged. */
const PARTS = 'parts';
const PLAN = 'plan.json';
const CALIBRATION = 'calibration';

/**
 * Does once what all parts of a study need (survey, calibration) and writes the plan of its parts into the folder. Done again, it mends what is damaged.
 * @param partCount at least 1; parts beyond the length of the study are empty
 * @throws VolaryError 'stale' naming what differs from the plan that is there, 'exists' where there are tables already
 */
export async function planParts(manifestPath: string, folder: string, partCount: number, options: AttributeToFolderOptions = {}): Promise<AttributeOutcome> {
  const run = await prepareRun(manifestPath, options);
  const header = { ...run.header, parts: partCount };
  await prepareTables(folder, PARTS, header, options);
  const work = await openCheckpointFolder(join(folder, PARTS), header, { discard: options.overwrite, onDamage: options.onNote });
  const { timeline, manifest } = run.study;
  const { unread } = await useStudyRunner(run.study, options, (makeRunner) => calibrateForParts(timeline, manifest, makeRunner, { ...options, checkpoint: work }));
  for (const text of unread) options.onNote?.(`error: ${text}`);
  const parts = divideStudy(timeline, manifest, partCount);
  const summary = { plan: partCount, durationSec: timeline.durationSec, parts, folder, problems: run.problemCount + unread.length };
  if (unread.length > 0) {
    return { complete: false, text: `${manifest.name}: the plan is not finished: recordings could not be read, and what rests on them was not kept; run --plan ${partCount} again`, summary };
  }
  // Written last: where it is there, the plan is complete.
  await writeFileAtomic(join(folder, PARTS, PLAN), `${JSON.stringify({ schema: 1, name: manifest.name, durationSec: timeline.durationSec, parts }, null, 2)}\n`, { overwrite: true });
  return {
    // A study that can be used in part goes on, on a cluster too: notes say what is wrong, and the merge ends with it.
    complete: true,
    text: `${manifest.name}: plan of ${partCount} ${partCount === 1 ? 'part' : 'parts'} in ${join(folder, PARTS)}; next --part 1${partCount > 1 ? ` to ${partCount}` : ''}, then --merge`,
    summary,
  };
}

/**
 * Extracts the evidence of one part of a planned study. What is there and whole is kept, what is missing or damaged is done; any number may run at once.
 * @param part 1 to the number of parts of the plan
 * @throws VolaryError 'bad-option' without a plan or with a part that it does not have, 'stale' naming what differs from the plan
 */
export async function runPart(manifestPath: string, folder: string, part: number, options: AttributeToFolderOptions = {}): Promise<AttributeOutcome> {
  const { run, work, parts, maxOffsetSec, kernels } = await openPlan(manifestPath, folder, options, options.onNote);
  const own = parts.find((p) => p.part === part);
  if (!own) throw new VolaryError('bad-option', { where: '--part', what: 'no such part in the plan', got: String(part), expected: parts.length === 1 ? '1' : `1 to ${parts.length}` });
  await requireCalibration(work, folder, parts.length);
  const { timeline, manifest } = run.study;
  const { unread } = await useStudyRunner(run.study, { ...options, kernels }, (makeRunner) => extractPart(timeline, manifest, own, makeRunner, { ...options, maxOffsetSec, checkpoint: work }));
  for (const text of unread) options.onNote?.(`error: ${text}`);
  const blocks = own.endBlock - own.firstBlock;
  const summary = { part, of: parts.length, blocks, fromSec: own.fromSec, toSec: own.toSec, folder, problems: run.problemCount + unread.length };
  if (unread.length > 0) {
    return { complete: false, text: `${manifest.name}: part ${part} of ${parts.length} is not done: recordings could not be read, and what rests on them was not kept; run --part ${part} again`, summary };
  }
  return {
    complete: true,
    text: `${manifest.name}: part ${part} of ${parts.length} is done, ${blocks === 0 ? 'it is empty' : `${own.fromSec.toFixed(0)} to ${own.toSec.toFixed(0)} s of the study`}`,
    summary,
  };
}

/**
 * Decides from the evidence of all parts and writes the tables, the same bytes as an undivided run; then the parts are removed.
 * @throws VolaryError 'no-data' naming parts that are missing or damaged, 'bad-option' without a plan, 'stale', 'exists'
 */
export async function mergeParts(manifestPath: string, folder: string, options: AttributeToFolderOptions = {}): Promise<AttributeOutcome> {
  const { run, header, work, parts, maxOffsetSec } = await openPlan(manifestPath, folder, options);
  // A merge that was stopped while it cleaned up has nothing left to look for.
  if (!await areTablesWritten(work)) {
    await requireCalibration(work, folder, parts.length);
    await requireParts(work, folder, parts);
  }
  await prepareTables(folder, PARTS, header, options);
  // All that reads audio is done: no threads.
  return finishRun(run, folder, work, { ...options, maxOffsetSec, workers: 0 });
}

interface OpenedPlan { run: PreparedRun; header: CheckpointHeader; work: CheckpointFolder; parts: StudyPart[]; maxOffsetSec: number; kernels: KernelKind }

/** Opens the plan in a folder; settings that are not given are those of the plan. */
async function openPlan(manifestPath: string, folder: string, options: AttributeToFolderOptions, onDamage?: (text: string) => void): Promise<OpenedPlan> {
  const found = await readCheckpointHeader(join(folder, PARTS));
  if (found === 'damaged') throw new VolaryError('no-data', { where: quoteName(join(folder, PARTS)), what: 'the plan is damaged', mend: 'run --plan again, as before: parts that are done are kept' });
  const partCount = found?.parts;
  if (typeof partCount !== 'number' || !Number.isSafeInteger(partCount) || partCount < 1) throw refuseWithoutPlan(folder);
  const maxOffsetSec = options.maxOffsetSec ?? Number(found?.maxOffsetSec);
  const kernels = options.kernels ?? (found?.kernels === 'relaxed' ? 'relaxed' : 'plain');
  const run = await prepareRun(manifestPath, { ...options, maxOffsetSec, kernels });
  const header = { ...run.header, parts: partCount };
  const work = await openCheckpointFolder(join(folder, PARTS), header, { mend: 'give the study and the settings of the plan, or plan anew with --plan N --force', onDamage });
  return { run, header, work, parts: divideStudy(run.study.timeline, run.study.manifest, partCount), maxOffsetSec, kernels };
}

function refuseWithoutPlan(folder: string): VolaryError {
  return new VolaryError('bad-option', { where: quoteName(folder), what: 'holds no plan of parts', mend: 'write one first with --plan N' });
}

async function requireCalibration(work: CheckpointFolder, folder: string, partCount: number): Promise<void> {
  if (await work.load(CALIBRATION) !== undefined) return;
  throw new VolaryError('no-data', { where: quoteName(join(folder, PARTS)), what: 'the plan is not finished or its calibration is damaged', mend: `run --plan ${partCount} again` });
}

/** Every block of every part must be there with the checksum it was written with. */
async function requireParts(work: CheckpointFolder, folder: string, parts: readonly StudyPart[]): Promise<void> {
  const missing = new Set<number>();
  const damaged = new Set<number>();
  for (const { part, firstBlock, endBlock } of parts) {
    for (let block = firstBlock; block < endBlock; block++) {
      if (await work.load(nameBlock(block)) !== undefined) continue;
      const isThere = await stat(join(folder, PARTS, `${nameBlock(block)}.part`)).then(() => true, () => false);
      (isThere ? damaged : missing).add(part);
    }
  }
  if (missing.size + damaged.size === 0) return;
  const told = [
    ...(missing.size > 0 ? [`not done: ${formatRanges([...missing])}`] : []),
    ...(damaged.size > 0 ? [`damaged: ${formatRanges([...damaged])}`] : []),
  ];
  throw new VolaryError('no-data', {
    where: quoteName(join(folder, PARTS)), what: `not all of the ${parts.length} parts are there and whole`, got: `parts ${told.join(', parts ')}`,
    mend: 'run these again with --part, then --merge',
  });
}
