import { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { formatCsv } from '../../src/table/csv-table.js';
import { callTable } from '../../src/table/table-specs.js';
import { callRow, runCommandLine } from './command-runner.js';

let folder = '';
const CALLS = Array.from({ length: 300 }, (_, i) => callRow(i, i % 2 ? 'red' : 'blue', i, i + 0.1, i < 60 ? 0.5 + i / 200 : 0.98));

beforeEach(async () => {
  folder = await mkdtemp(join(tmpdir(), 'volary-sample-'));
  await writeFile(join(folder, 'calls.csv'), formatCsv(callTable, CALLS));
});

afterEach(() => rm(folder, { recursive: true, force: true }));

/** Fills in the column bird: rows below 60 are wrong when their number divides by three. */
async function listen(path: string, rows = Infinity): Promise<void> {
  const lines = (await readFile(path, 'utf8')).trimEnd().split('\n').map((line, i) => {
    const fields = line.split(',');
    const id = Number(fields[0]);
    if (i > 0 && i <= rows) fields[2] = id < 60 && id % 3 === 0 ? 'no_call' : CALLS[id].bird;
    return fields.join(',');
  });
  await writeFile(path, `${lines.join('\n')}\n`);
}

describe('volary sample, and volary score of a verified sample', () => {
  const path = (): string => join(folder, 'sample.csv');

  it('draws, is filled in, and tells the error rate of the table', async () => {
    const drawn = await runCommandLine('sample', folder, '-n', '120');
    expect([drawn.status, drawn.err]).toEqual([0, '']);
    expect(drawn.out).toContain('120 of 300 rows drawn');
    const text = await readFile(path(), 'utf8');
    expect(text.split('\n')[0]).toBe('call_id,track,bird,onset_s,offset_s,stratum,weight');
    expect(text.split('\n')).toHaveLength(122);
    expect(text).not.toContain('blue');

    await listen(path());
    const scored = await runCommandLine('score', folder, '--labels', path());
    expect([scored.status, scored.err]).toEqual([0, '']);
    expect(scored.out).toContain('120 of 120 drawn rows verified, out of 300 rows.');
    const score = JSON.parse(await readFile(join(folder, 'score.json'), 'utf8'));
    expect(score).toMatchObject({ kind: 'volary-verified-score', calls: 300, verified: 120 });
    // 20 of 300 rows are no call.
    expect(score.right.low).toBeLessThanOrEqual(280 / 300);
    expect(score.right.high).toBeGreaterThanOrEqual(280 / 300);
    expect(score.right.value + score.noCall.value).toBeCloseTo(1, 8);
    expect(scored.out).not.toMatch(/NaN|undefined|null/);
  });

  it('says what is open in a half verified sample', async () => {
    await runCommandLine('sample', folder);
    expect((await runCommandLine('score', folder, '--labels', path())).err).toMatch(/no row is verified yet; write into the column bird/);
    await listen(path(), 3);
    const early = await runCommandLine('score', folder, '--labels', path());
    expect(early.status).toBe(0);
    expect(early.out).toContain('3 of 100 drawn rows verified');
    expect(early.out).toContain('Some strata have no verified row yet');
    expect(early.out).not.toMatch(/NaN|undefined|null/);
    await listen(path(), 40);
    expect((await runCommandLine('score', folder, '--labels', path())).out).not.toContain('Some strata');
  });

  it('takes no misspelt name for somebody else', async () => {
    await runCommandLine('sample', folder, '-n', '120');
    await listen(path());
    const text = await readFile(path(), 'utf8');
    for (const [right, wrong] of [['no_call', 'No call'], ['blue', 'Blue']]) {
      await writeFile(path(), text.replace(`,${right},`, `,${wrong},`));
      const { err, status } = await runCommandLine('score', folder, '--labels', path());
      expect(err).toMatch(new RegExp(`row \\d+ column bird: a misspelt name; got "${wrong}"; expected "${right}"`));
      expect(status).toBe(1);
    }
    // A bird without a row may well be heard.
    await writeFile(path(), text.replace(',blue,', ',green,'));
    expect((await runCommandLine('score', folder, '--labels', path())).status).toBe(0);
    expect((await runCommandLine('score', folder, '--labels', path(), '--untagged')).err).toMatch(/--untagged: has no meaning for a verified sample/);
  });

  it('plans the size for a precision asked for', async () => {
    const { out } = await runCommandLine('sample', folder, '--within', '0.03', '--json', '-o', join(folder, 'plan.csv'));
    const plan = JSON.parse(out);
    expect(plan.expectedHalfWidth).toBeLessThanOrEqual(0.03);
    expect(plan.drawn).toBeLessThan(300);
  });

  it('never replaces verified rows unasked, and tells each error in one line', async () => {
    await runCommandLine('sample', folder);
    const cases: [string[], number, RegExp][] = [
      [['sample', folder], 1, /sample\.csv": is there already; choose another place or add --force/],
      [['sample', folder, '-n', '5', '--within', '0.1'], 2, /cannot be used together/],
      [['sample', join(folder, 'gone')], 1, /no such folder/],
      [['score', folder, '--labels', path(), '--tracks', 'red'], 2, /--tracks: has no meaning for a verified sample/],
    ];
    for (const [args, status, message] of cases) {
      const result = await runCommandLine(...args);
      expect(result.err).toMatch(message);
      expect(result.err.trim().split('\n')).toHaveLength(1);
      expect([result.status, result.out]).toEqual([status, '']);
    }
    expect((await runCommandLine('sample', folder, '--force', '--seed', '2')).status).toBe(0);
    await expect(runCommandLine('sample', folder, '-n', '1')).rejects.toMatchObject({ code: 'commander.invalidArgument' });
    await writeFile(path(), (await readFile(path(), 'utf8')).replace(/^(\d+),red,,/m, 'x,red,red,'));
    expect((await runCommandLine('score', folder, '--labels', path())).err).toMatch(/row 2 column call_id: wrong value; got "x"; expected a whole number/);
    await writeFile(join(folder, 'calls.csv'), formatCsv(callTable, []));
    expect((await runCommandLine('sample', folder, '--force')).err).toMatch(/the table has no call to draw from/);
  });
});
