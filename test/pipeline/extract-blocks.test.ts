import { describe, expect, it } from 'vitest';
import { resolveSettings } from '../../src/evidence/settings.js';
import { createZeroClock } from '../../src/model/clock.js';
import type { CellRunner } from '../../src/pipeline/calibrate.js';
import type { ExtractResult, ExtractTask } from '../../src/pipeline/cell-work.js';
import { planCells } from '../../src/pipeline/cells.js';
import { noCheckpoint, type Checkpoint } from '../../src/pipeline/checkpoint.js';
import { extractChunks, type Chunk } from '../../src/pipeline/extract-blocks.js';

/** A runner whose cells only say which they are; some cannot read their recordings. */
function makeRunner(unread: readonly number[]): CellRunner & { asked: number[] } {
  const asked: number[] = [];
  return {
    asked, survey: async () => [], listen: async () => [],
    extract: async (tasks: ExtractTask[], onDone) => tasks.map((t) => { asked.push(t.cell); onDone(unread.includes(t.cell)); return { rows: new Float64Array(0), lostRuns: [[t.cell, 0, 0]] } satisfies ExtractResult; }),
  };
}

async function run(durationSec: number, checkpoint: Checkpoint = noCheckpoint, unread: readonly number[] = []): Promise<{ chunks: Chunk[]; asked: number[]; told: number; cellCount: number }> {
  const plan = planCells(durationSec, 1.5);
  const settings = resolveSettings(48000);
  const calibration = { floors: Array.from({ length: plan.surveyCount }, () => []), filters: Array.from({ length: plan.surveyCount }, () => new Float32Array(0)), filterLossDb: Array.from({ length: plan.surveyCount }, () => []), clock: createZeroClock(1), gainDb: [], priorGainDb: [], active: [new Uint8Array(8 * Math.ceil(durationSec)).fill(255)], gaps: [], still: [], nonFiniteCounts: [] };
  const runner = makeRunner(unread);
  const chunks: Chunk[] = [];
  let told = 0;
  await extractChunks(runner, plan, settings, calibration, checkpoint, () => { told++; }, (c) => chunks.push(c));
  return { chunks, asked: runner.asked, told, cellCount: plan.cellCount };
}

describe.each([3, 10, 119, 120, 121, 3600, 3601, 7300, 20000])('a study of %i seconds', (durationSec) => {
  it('is extracted cell by cell, each once, and decided in chunks that own every moment once', async () => {
    const { chunks, asked, told, cellCount } = await run(durationSec);
    expect([...asked].sort((a, b) => a - b)).toEqual(Array.from({ length: cellCount }, (_, k) => k));
    expect(told).toBe(cellCount);
    expect(chunks[0].fromSec).toBe(0);
    chunks.forEach((c, k) => {
      expect(c.toSec).toBe(chunks[k + 1]?.fromSec ?? Infinity);
      const cells = c.cells.map((r) => r.lostRuns[0][0]);
      expect(cells).toEqual(Array.from({ length: cells.length }, (_, n) => c.firstCell + n));
      // What a bird sounds like is learned from 150 s around, and most of it from nearer: two minutes of context where the study goes on.
      expect(c.firstCell * 10).toBeLessThanOrEqual(Math.max(0, c.fromSec - 120));
      expect((c.firstCell + cells.length) * 10).toBeGreaterThanOrEqual(Math.min(durationSec, c.toSec + 120));
      // And no more than an hour and a bit is held.
      expect(cells.length).toBeLessThanOrEqual(360 + 48);
    });
  });
});

it('work that was saved is not done again, and gives the same chunks', async () => {
  const kept = new Map<string, Uint8Array>();
  const store: Checkpoint = { load: async (k) => kept.get(k), save: async (k, bytes) => void kept.set(k, bytes) };
  const first = await run(1000, store);
  kept.delete('block-000003');
  const second = await run(1000, store);
  expect(second.chunks).toEqual(first.chunks);
  expect(second.asked).toEqual(Array.from({ length: 12 }, (_, k) => 36 + k));
  expect(second.told).toBe(first.told);
});

it('a block of which a recording could not be read serves this run and is done again by the next', async () => {
  const kept = new Map<string, Uint8Array>();
  const store: Checkpoint = { load: async (k) => kept.get(k), save: async (k, bytes) => void kept.set(k, bytes) };
  const first = await run(400, store, [14]);
  expect([...kept.keys()].sort()).toEqual(['block-000000', 'block-000002', 'block-000003']);
  expect(first.told).toBe(first.cellCount);
  const second = await run(400, store);
  expect(second.asked).toEqual(Array.from({ length: 12 }, (_, k) => 12 + k));
  expect(second.chunks).toEqual(first.chunks);
  expect(kept.size).toBe(4);
});
