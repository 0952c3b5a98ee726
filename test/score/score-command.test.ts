import { mkdir, mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import type { TrackHourRow } from '../../src/schema/rows.js';
import { formatCsv } from '../../src/table/csv-table.js';
import { callTable, trackTable } from '../../src/table/table-specs.js';
import { callRow, runCommandLine } from './command-runner.js';
import type { CommandResult } from './command-runner.js';

let folder = '';
const LABELS = 'id,bird,onset_s,offset_s,snr_db\n0,red,1.000,1.200,35\n1,blue,2.000,2.200,12\n2,none,3.000,3.100,\n';

const CALLS = [callRow(0, 'red', 1.001, 1.2, 0.99), callRow(1, 'blue', 2.002, 2.2, 0.9), callRow(2, 'none', 3, 3.1, 0.7)];

const run = (...args: string[]): Promise<CommandResult> => runCommandLine('score', ...args);

beforeEach(async () => {
  folder = await mkdtemp(join(tmpdir(), 'volary-score-'));
  await writeFile(join(folder, 'calls.csv'), formatCsv(callTable, CALLS));
  await writeFile(join(folder, 'truth.csv'), LABELS);
});

afterEach(() => rm(folder, { recursive: true, force: true }));

describe('volary score', () => {
  const truth = (): string => join(folder, 'truth.csv');

  it('prints a summary, writes score.json, and does so again over the old one', async () => {
    const first = await run(folder, '--labels', truth());
    expect(first.status).toBe(0);
    expect(first.err).toBe('');
    expect(first.out).toMatch(/right time and right bird +F1 +1\.000/);
    const json = await readFile(join(folder, 'score.json'), 'utf8');
    expect(JSON.parse(json)).toMatchObject({ kind: 'volary-score', schemaVersion: 1, detection: { truePositives: 3 }, counts: { birds: ['blue', 'red'] } });
    expect(await run(folder, '--labels', truth())).toEqual(first);
    expect(await readFile(join(folder, 'score.json'), 'utf8')).toBe(json);
  });

  it('finds the threshold for a precision that is asked for', async () => {
    await writeFile(join(folder, 'calls.csv'), formatCsv(callTable, [...CALLS, callRow(3, 'red', 2.5, 2.6, 0.6)]));
    const text = await run(folder, '--labels', truth(), '--precision', '.95');
    // Three of four are right; the wrong one has the least probability.
    expect(text.out).toMatch(/^ *0?\.950 +0?\.7000 +0?\.750 +1\.000/m);
    await expect(run(folder, '--labels', truth(), '--precision', '99')).rejects.toThrow('shares between 0 and 1');
  });

  it('prints score.json with --json', async () => {
    const { out, status } = await run(folder, '--labels', truth(), '--json', '--tracks', 'red, blue', '--collar', '0.01');
    expect(status).toBe(0);
    const score = JSON.parse(out);
    expect(score.settings).toMatchObject({ tracks: ['red', 'blue'], collarSec: 0.01 });
    expect(out.trim()).toBe((await readFile(join(folder, 'score.json'), 'utf8')).trim());
  });

  it('leaves out labels after the end of what was analysed, and says so', async () => {
    const hour: TrackHourRow = { track: 'red', recorder: 'one', startSec: 0, usableSec: 3600, noiseFloorDb: -60, gainDb: 0, lostShare: 0 };
    await writeFile(join(folder, 'tracks.csv'), formatCsv(trackTable, [hour]));
    await writeFile(truth(), `${LABELS}3,red,3700.0,3700.2,30\n`);
    const { out, err, status } = await run(folder, '--labels', truth());
    expect(status).toBe(0);
    expect(err).toContain('1 of 4 labels start after the end of what was analysed (3600 s) and are left out');
    expect(out).toContain('against 3 labelled calls');
  });

  it('takes no call that ends long after what was analysed: a digit too many', async () => {
    const hour: TrackHourRow = { track: 'red', recorder: 'one', startSec: 0, usableSec: 3600, noiseFloorDb: -60, gainDb: 0, lostShare: 0 };
    await writeFile(join(folder, 'tracks.csv'), formatCsv(trackTable, [hour]));
    await writeFile(truth(), `${LABELS}3,red,3599.0,3603.0,30\n`);
    expect((await run(folder, '--labels', truth())).status).toBe(0);
    await writeFile(truth(), `${LABELS}3,red,30.0,1000000000,30\n`);
    const { err, status } = await run(folder, '--labels', truth());
    expect(err).toMatch(/column offset_s: a call that ends long after what was analysed; got 30 to 1000000000 s; expected an end before 3600 s/);
    expect(status).toBe(1);
  });

  it('scores a stretch, and warns where much lies outside the labels', async () => {
    await writeFile(join(folder, 'calls.csv'), formatCsv(callTable, [...CALLS, callRow(3, 'red', 60, 60.1, 0.9), callRow(4, 'red', 70, 70.1, 0.9)]));
    const whole = await run(folder, '--labels', truth());
    expect(whole.err).toContain('0 reports lie before the first label (1.0 s) and 2 after the last (3.1 s)');
    expect(whole.out).toMatch(/detection +F1 +0\.750/);
    const part = await run(folder, '--labels', truth(), '--to', '10');
    expect(part.err).toBe('');
    expect(part.out).toMatch(/detection +F1 +1\.000/);
    expect(part.out).toContain('Left out, because they start outside the scored stretch: 0 labels, 2 reports.');
  });

  it('warns of names that do not meet', async () => {
    await writeFile(truth(), LABELS.replaceAll('blue', 'Blue'));
    expect((await run(folder, '--labels', truth())).err).toContain('no report of Blue, who has labels: same names in both tables?');
  });

  it('tells each error in one line with the right status', async () => {
    const empty = join(folder, 'empty');
    await mkdir(empty);
    await writeFile(join(folder, 'bad.csv'), 'bird,onset_s\nred,1\n');
    await writeFile(join(folder, 'none.csv'), 'bird,onset_s,offset_s\n');
    const cases: [string[], number, RegExp][] = [
      [[join(folder, 'gone'), '--labels', truth()], 1, /gone": no such folder/],
      [[empty, '--labels', truth()], 1, /calls\.csv": no such file; run 'volary attribute'/],
      [[folder, '--labels', join(folder, 'gone.csv')], 1, /gone\.csv": no such file/],
      [[folder, '--labels', empty], 1, /not a regular file/],
      [[folder, '--labels', join(folder, 'bad.csv')], 1, /offset_s/],
      [[folder, '--labels', join(folder, 'none.csv')], 1, /no labelled call to score against/],
      [[folder, '--labels', truth(), '--tracks', 'green'], 2, /no call and no label of this bird; got "green"; expected blue, red/],
      [[folder, '--labels', truth(), '--from', '5', '--to', '5'], 2, /the stretch to score is empty/],
    ];
    for (const [args, status, message] of cases) {
      const result = await run(...args);
      expect(result.err).toMatch(message);
      expect(result.err.trim().split('\n')).toHaveLength(1);
      expect([result.status, result.out]).toEqual([status, '']);
    }
    await expect(run(folder)).rejects.toMatchObject({ code: 'commander.missingMandatoryOptionValue' });
    await expect(run(folder, '--labels', truth(), '--collar', '-1')).rejects.toMatchObject({ code: 'commander.invalidArgument' });
  });
});
