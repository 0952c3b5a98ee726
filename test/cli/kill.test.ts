import { existsSync, mkdirSync, readdirSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { makeRandom } from '../model/clock-synthetic.js';
import { newFolder } from './run-cli.js';
import { attributeUntil, countEvents, readResult, writeShortStudy } from './stopped-study.js';

const folder = newFolder();
const reached = new Set<string>();
let study = '';
let wanted: Record<string, string> = {};
let kills = 0;

/** The last step that the finished work of a killed run holds; after the calibration extraction was going on. */
function tellStage(out: string): string {
  const unfinished = join(out, 'unfinished');
  const names = existsSync(unfinished) ? readdirSync(unfinished).filter((n) => /^[\w-]+\.part$/.test(n)) : [];
  for (const stage of ['writing', 'calibration', 'look-2', 'look-1', 'survey']) if (names.some((n) => n.startsWith(stage))) return stage;
  return 'start';
}

/** Kills runs of one study `times` times, going on from what was finished; a chain that ends is compared and a new one begun. */
async function killAndRestart(workers: number, times: number, seed: number): Promise<void> {
  const { uniform } = makeRandom(seed);
  const args = ['--workers', String(workers)];
  const eventCount = await countEvents(study, join(folder, `whole-${workers}`), args);
  expect(readResult(join(folder, `whole-${workers}`))).toEqual(wanted);
  let chain = 0;
  for (let kill = 0; kill < times;) {
    const out = join(folder, `chain-${workers}-${++chain}`);
    // The first kill of a chain goes through all passes in turn, later ones come early in what is left more often than late.
    let endAt = 1 + Math.floor(((kill + uniform()) / times) * eventCount);
    for (;;) {
      const { signal, status, notes } = await attributeUntil(study, out, args, kill < times ? endAt : undefined);
      if (signal !== 'SIGKILL') {
        expect(notes).not.toMatch(/warning|error/);
        expect(status, notes).toBe(0);
        break;
      }
      kill++;
      kills++;
      reached.add(tellStage(out));
      endAt = 1 + Math.floor(uniform() ** 2 * eventCount);
      // Killed after the very last step: there is nothing to start again for, and tables that are there would be refused.
      if (existsSync(join(out, 'run.json')) && !existsSync(join(out, 'unfinished'))) break;
    }
    expect(readResult(out), `chain ${chain} of ${workers} workers`).toEqual(wanted);
    rmSync(out, { recursive: true });
  }
}

beforeAll(async () => {
  mkdirSync(folder, { recursive: true });
  study = writeShortStudy(folder);
  await countEvents(study, join(folder, 'whole'), ['--workers', '1']);
  wanted = readResult(join(folder, 'whole'));
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe.skipIf(process.platform === 'win32')('attribute, killed and started again (skipped on Windows, which has no signals)', () => {
  // Seeds under which every step is hit: some are short.
  it.each([[1, 17, 2], [2, 17, 2], [4, 16, 13]])('ends with the bytes of an undisturbed run: %i workers, %i kills', (workers, times, seed) => killAndRestart(workers, times, seed), 300_000);

  it('was killed fifty times, in every pass and while it wrote its tables', () => {
    expect(wanted['calls.csv'].split('\n').length).toBeGreaterThan(5);
    expect(kills).toBe(50);
    expect([...reached].sort()).toEqual(['calibration', 'look-1', 'look-2', 'start', 'survey', 'writing']);
  });
});
