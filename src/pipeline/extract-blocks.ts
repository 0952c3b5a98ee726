import type { CellPlan } from './cells.js';
import type { ExtractResult } from './cell-work.js';
import type { AnalysisSettings } from '../evidence/settings.js';
import { SpanFinder } from './active-time.js';
import { makeTask, range, type Calibration, type CellRunner } from './calibrate.js';
import { resumeCells, type Checkpoint } from './checkpoint.js';
import { extractCells } from './extract-cells.js';

/** Cells that are saved together: two minutes. */
const BLOCK_CELLS = 12;
/** Blocks that are decided together, and blocks of context on both sides: what a bird sounds like is learned from 150 s around, most of it from nearer. */
const CHUNK_BLOCKS = 8;
const CONTEXT_BLOCKS = 1;
/** The next chunk is begun when no more than this of the last one is missing. */
const AHEAD_BLOCKS = 2;

/** One stretch of a study to decide: all its evidence and what of it is context only. */
export interface Chunk {
  /** Evidence of the chunk with its context, in order of time. */
  cells: ExtractResult[];
  /** Onsets in [fromSec, toSec) belong to this chunk. */
  fromSec: number;
  toSec: number;
  firstCell: number;
}

export function countBlocks(plan: CellPlan): number {
  return Math.ceil(plan.cellCount / BLOCK_CELLS);
}

/** Cells of a block, [first, end). */
export function boundBlock(plan: CellPlan, block: number): [number, number] {
  return [block * BLOCK_CELLS, Math.min(plan.cellCount, (block + 1) * BLOCK_CELLS)];
}

/** Under which key the evidence of a block is kept. */
export function nameBlock(block: number): string {
  return `block-${String(block).padStart(6, '0')}`;
}

/** Extracts some blocks into the checkpoint, as many at a time as are decided together; nothing is decided, what is there is not done again. */
export async function extractBlocks(
  runner: CellRunner, plan: CellPlan, settings: AnalysisSettings, calibration: Calibration, checkpoint: Checkpoint, blocks: readonly number[], onCell: () => void,
): Promise<void> {
  const extract = makeBlockExtractor(runner, plan, settings, calibration, checkpoint, onCell);
  for (let from = 0; from < blocks.length; from += CHUNK_BLOCKS) {
    await Promise.all(blocks.slice(from, from + CHUNK_BLOCKS).map(extract));
  }
}

/**
 * Extracts the study chunk by chunk in bounded memory: blocks of cells are done (or loaded from the checkpoint), each chunk is handed on with
 * its context, and what is no longer needed is dropped.
 */
export async function extractChunks(
  runner: CellRunner, plan: CellPlan, settings: AnalysisSettings, calibration: Calibration, checkpoint: Checkpoint, onCell: () => void, decide: (chunk: Chunk) => void,
): Promise<void> {
  const extract = makeBlockExtractor(runner, plan, settings, calibration, checkpoint, onCell);
  const blockCount = Math.ceil(plan.cellCount / BLOCK_CELLS);
  const held = new Map<number, Promise<ExtractResult[]>>();
  const begin = (from: number, to: number): void => {
    for (let b = from; b < Math.min(blockCount, to); b++) {
      if (held.has(b)) continue;
      const result = extract(b);
      // Told to whoever awaits it; until then it is nobody's.
      result.catch(() => undefined);
      held.set(b, result);
    }
  };
  for (let first = 0; first < blockCount; first += CHUNK_BLOCKS) {
    const last = Math.min(blockCount, first + CHUNK_BLOCKS);
    const from = Math.max(0, first - CONTEXT_BLOCKS);
    const to = Math.min(blockCount, last + CONTEXT_BLOCKS);
    for (const b of held.keys()) if (b < from) held.delete(b);
    begin(from, to);
    const blocks = range(from, to).map((b) => held.get(b)!);
    await Promise.all(blocks.slice(0, -AHEAD_BLOCKS));
    // While the last blocks are done and the chunk is decided, work on the next one goes on.
    begin(to, to + CHUNK_BLOCKS);
    decide({
      cells: (await Promise.all(blocks)).flat(), firstCell: from * BLOCK_CELLS,
      fromSec: first * BLOCK_CELLS * plan.cellSec, toSec: last === blockCount ? Infinity : last * BLOCK_CELLS * plan.cellSec,
    });
  }
}

function makeBlockExtractor(
  runner: CellRunner, plan: CellPlan, settings: AnalysisSettings, calibration: Calibration, checkpoint: Checkpoint, onCell: () => void,
): (block: number) => Promise<ExtractResult[]> {
  const spans = new SpanFinder(calibration.active, calibration.clock, plan, settings);
  return async (block) => {
    const [first, end] = boundBlock(plan, block);
    return resumeCells(checkpoint, nameBlock(block), end - first, onCell, (tell) => extractCells(runner, range(first, end).map((c) => makeTask(plan, calibration, spans, c)), tell));
  };
}
