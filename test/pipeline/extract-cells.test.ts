import { expect, it } from 'vitest';
import type { CellRunner } from '../../src/pipeline/calibrate.js';
import type { ExtractResult, ExtractTask } from '../../src/pipeline/cell-work.js';
import { createZeroClock } from '../../src/model/clock.js';
import { extractCells } from '../../src/pipeline/extract-cells.js';

const makeTask = (cell: number, isActive: boolean): ExtractTask => ({
  cell, spans: isActive ? [{ first: 0, end: 10, ownFromSec: 0, ownToSec: 1 }] : [], gainDb: [], floors: [], filter: new Float32Array(0), clock: createZeroClock(1),
});

it.each([['none', []], ['all', [0, 1, 2, 3, 4]], ['the first', [0]], ['the last', [4]], ['some', [1, 3]]])('cells with something to look at are jobs, %s of them, and every cell is told of and has its result', async (_, active: number[]) => {
  const asked: number[] = [], told: (boolean | undefined)[] = [];
  const runner: Pick<CellRunner, 'extract'> = {
    extract: async (tasks, onDone) => tasks.map((t) => { asked.push(t.cell); onDone(t.cell === 3); return { rows: Float64Array.of(t.cell), lostRuns: [[t.cell, 0, 1]] } satisfies ExtractResult; }),
  };
  const results = await extractCells(runner as CellRunner, [0, 1, 2, 3, 4].map((c) => makeTask(c, active.includes(c))), (isUnread) => told.push(isUnread));
  expect(asked).toEqual(active);
  expect(told).toHaveLength(5);
  expect(told.filter(Boolean)).toHaveLength(active.includes(3) ? 1 : 0);
  results.forEach((r, c) => expect([[...r.rows], r.lostRuns]).toEqual(active.includes(c) ? [[c], [[c, 0, 1]]] : [[], []]));
});
