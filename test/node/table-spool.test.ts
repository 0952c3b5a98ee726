import { mkdirSync, mkdtempSync, readdirSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeEach, describe, expect, it } from 'vitest';
import { TableSpool } from '../../src/node/table-spool.js';
import type { CallRow, SoundRow } from '../../src/schema/rows.js';
import { formatCsv } from '../../src/table/csv-table.js';
import { formatParquet } from '../../src/table/parquet-table.js';
import { callTable, soundTable } from '../../src/table/table-specs.js';

const root = mkdtempSync(join(tmpdir(), 'volary-'));
afterAll(() => rmSync(root, { recursive: true, force: true }));
const folder = join(root, 'unfinished');
beforeEach(() => { rmSync(folder, { recursive: true, force: true }); mkdirSync(folder); });

const calls = Array.from({ length: 2300 }, (_, n): CallRow => ({
  callId: n + 1, bird: n % 5 ? `b${n % 5}` : 'none', onsetSec: n / 3, offsetSec: n / 3 + 0.1, onsetUtc: '', probability: 0.5 + (n % 50) / 100, track: 'b1', levelDb: -n / 100, snrDb: 20,
  peakHz: 3000 + n, overlaps: n % 3, runnerUp: n % 2 ? 'none' : '', runnerUpProbability: n % 2 ? 0.1 : NaN,
}));
const sounds = Array.from({ length: 900 }, (_, n): SoundRow => ({ kind: 'body', track: 'b1', onsetSec: n, offsetSec: n + 0.5, levelDb: n % 7 ? -30 : NaN, source: '' }));

async function read(content: AsyncIterable<Uint8Array>): Promise<Buffer> {
  const pieces: Uint8Array[] = [];
  for await (const piece of content) pieces.push(piece);
  return Buffer.concat(pieces);
}

async function fill(spool: TableSpool, step: number): Promise<void> {
  for (let n = 0; n < calls.length; n += step) spool.addCalls(calls.slice(n, n + step));
  spool.addCalls([]);
  for (let n = 0; n < sounds.length; n += step) spool.addSounds(sounds.slice(n, n + step));
}

describe('tables that are written while a study is decided', () => {
  it.each([[1], [333], [5000]])('are the bytes of whole tables, %i rows at a time', async (step) => {
    const spool = await TableSpool.open(folder);
    await fill(spool, step);
    const content = spool.finish();
    expect(Object.keys(content).sort()).toEqual(['calls.csv', 'calls.parquet', 'sounds.csv', 'sounds.parquet']);
    expect((await read(content['calls.csv'])).toString()).toBe(formatCsv(callTable, calls));
    expect((await read(content['sounds.csv'])).toString()).toBe(formatCsv(soundTable, sounds));
    expect((await read(content['calls.parquet'])).equals(formatParquet(callTable, calls))).toBe(true);
    expect((await read(content['sounds.parquet'])).equals(formatParquet(soundTable, sounds))).toBe(true);
    spool.close();
    expect(readdirSync(folder)).toEqual([]);
  });

  it('count the calls of each caller and how many of them are right by their probabilities', async () => {
    const spool = await TableSpool.open(folder);
    await fill(spool, 100);
    const free = calls.filter((c) => c.bird === 'none');
    expect([...spool.callers.keys()].sort()).toEqual(['b1', 'b2', 'b3', 'b4', 'none']);
    expect(spool.callers.get('none')!.calls).toBe(free.length);
    expect(spool.callers.get('none')!.expected).toBeCloseTo(free.reduce((s, c) => s + c.probability, 0), 9);
    spool.close();
  });

  it('are whole for a study without calls', async () => {
    const spool = await TableSpool.open(folder), content = spool.finish();
    expect((await read(content['calls.csv'])).toString()).toBe(formatCsv(callTable, []));
    expect((await read(content['calls.parquet'])).equals(formatParquet(callTable, []))).toBe(true);
    spool.close();
  });

  it('sweep what a killed run left, and stay whole where another one sweeps them or takes the folder away', async () => {
    // No process has this number: they end at 2^22 at most.
    writeFileSync(join(folder, 'calls.csv.99999999-0123456789ab.part'), 'half');
    writeFileSync(join(folder, 'block-000001.part'), 'work');
    const spool = await TableSpool.open(folder);
    expect(readdirSync(folder)).toHaveLength(5);
    expect(readdirSync(folder)).not.toContain('calls.csv.99999999-0123456789ab.part');
    await fill(spool, 700);
    const other = await TableSpool.open(folder);
    expect(readdirSync(folder)).toHaveLength(5);
    await fill(other, 90);
    expect((await read(spool.finish()['calls.csv'])).toString()).toBe(formatCsv(callTable, calls));
    rmSync(folder, { recursive: true });
    expect((await read(other.finish()['calls.parquet'])).equals(formatParquet(callTable, calls))).toBe(true);
    spool.close();
    other.close();
  });

  it('say in one line that they cannot be written', async () => {
    const taken = join(folder, 'file');
    writeFileSync(taken, '');
    await expect(TableSpool.open(join(taken, 'unfinished'))).rejects.toMatchObject({ code: 'unreadable' });
  });
});
