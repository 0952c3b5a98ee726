import type { AnalysisSettings } from '../evidence/settings.js';
import type { StudyManifest } from '../study/manifest.js';
import type { Timeline } from '../study/timeline.js';
import { resumeCalibration, type AttributeOptions } from './attribute-study.js';
import { range, type CellRunner } from './calibrate.js';
import type { CellPlan } from './cells.js';
import { boundBlock, countBlocks, extractBlocks } from './extract-blocks.js';
import { planStudy } from './plan-study.js';

/** One of the parts a study is divided into: blocks [firstBlock, endBlock), which hold [fromSec, toSec) of the study. A part may be empty. */
export interface StudyPart {
  part: number;
  firstBlock: number;
  endBlock: number;
  fromSec: number;
  toSec: number;
}

type RunnerMaker = (settings: AnalysisSettings, plan: CellPlan) => CellRunner;

/** Divides a study into parts that differ by one block at most, in order of time; parts are counted from 1. */
export function divideStudy(timeline: Timeline, manifest: StudyManifest, partCount: number): StudyPart[] {
  const { plan } = planStudy(timeline, manifest);
  const blockCount = countBlocks(plan);
  const startSec = (block: number): number => Math.min(plan.durationSec, boundBlock(plan, block)[0] * plan.cellSec);
  return range(0, partCount).map((k) => {
    const firstBlock = Math.floor((k * blockCount) / partCount);
    const endBlock = Math.floor(((k + 1) * blockCount) / partCount);
    return { part: k + 1, firstBlock, endBlock, fromSec: startSec(firstBlock), toSec: startSec(endBlock) };
  });
}

/** Does what all parts need: survey and calibration go into the checkpoint. */
export async function calibrateForParts(timeline: Timeline, manifest: StudyManifest, makeRunner: RunnerMaker, options: AttributeOptions): Promise<void> {
  const { settings, plan } = planStudy(timeline, manifest);
  await resumeCalibration(makeRunner(settings, plan), timeline, settings, plan, options);
}

/** Extracts the evidence of one part into the checkpoint, which must hold the calibration. */
export async function extractPart(timeline: Timeline, manifest: StudyManifest, part: StudyPart, makeRunner: RunnerMaker, options: AttributeOptions): Promise<void> {
  const { settings, plan } = planStudy(timeline, manifest);
  const runner = makeRunner(settings, plan);
  const { calibration, checkpoint } = await resumeCalibration(runner, timeline, settings, plan, options);
  const blocks = range(part.firstBlock, part.endBlock);
  const cellCount = blocks.reduce((sum, b) => sum + boundBlock(plan, b)[1] - boundBlock(plan, b)[0], 0);
  let done = 0;
  await extractBlocks(runner, plan, settings, calibration, checkpoint, blocks, () => options.onProgress?.('extraction', ++done, cellCount));
}
