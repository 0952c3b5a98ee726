import { mkdirSync, readFileSync, readdirSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { newFolder, runCli } from './run-cli.js';

const root = newFolder();
const result = join(root, 'result');
const verified = join(result, 'verified.csv');
afterAll(() => rmSync(root, { recursive: true, force: true }));

const HEADER = 'call_id,bird,onset_s,offset_s,onset_utc,probability,track,level_db,snr_db,peak_hz,overlaps,runner_up,runner_up_probability\n';

beforeAll(() => {
  mkdirSync(result);
  // Every third row is wrong whatever it claims, so that the table is too sure.
  const rows = Array.from({ length: 200 }, (_, n) => `${n + 1},${n % 2 ? 'red' : 'blue'},${n}.000000,${n}.100000,,${(0.8 + (n % 20) / 110).toFixed(4)},red,,,,0,green,0.0100`);
  writeFileSync(join(result, 'calls.csv'), `${HEADER}${rows.join('\n')}\n`);
  writeFileSync(join(result, 'sounds.csv'), 'kind,track,onset_s,offset_s,level_db,source\n');
  writeFileSync(join(result, 'run.json'), '{"name":"Two birds","study":"../study.json","durationSec":200}\n');
  for (const name of ['datapackage.json', 'csv-metadata.json']) writeFileSync(join(result, name), '{}\n');
  expect(runCli(['sample', result, '-n', '90']).status).toBe(0);
  const filled = readFileSync(join(result, 'sample.csv'), 'utf8').trimEnd().split('\n').map((line, k) => {
    const fields = line.split(',');
    const n = Number(fields[0]) - 1;
    if (k > 0) fields[2] = n % 3 === 0 ? 'no_call' : n % 2 ? 'red' : 'blue';
    return fields.join(',');
  });
  writeFileSync(verified, `${filled.join('\n')}\n`);
});

const readAll = (folder: string): Record<string, string> => Object.fromEntries(readdirSync(folder).sort().map((name) => [name, readFileSync(join(folder, name)).toString('latin1')]));

describe('volary refit', () => {
  it('writes a new folder with calibrated probabilities and leaves the old one alone', () => {
    const before = readAll(result);
    const out = join(root, 'once');
    const run = runCli(['refit', result, '--labels', verified, '--out', out, '--threshold', '0']);
    expect([run.status, run.err]).toEqual([0, '']);
    expect(run.out).toContain('90 rows judged');
    expect(run.out).not.toMatch(/NaN|undefined|null/);
    expect(readAll(result)).toEqual(before);
    expect(readdirSync(out).sort()).toEqual(['calls.csv', 'calls.parquet', 'csv-metadata.json', 'datapackage.json', 'refit.json', 'run.json', 'sounds.csv']);
    const probabilities = readFileSync(join(out, 'calls.csv'), 'utf8').trimEnd().split('\n').slice(1).map((line) => Number(line.split(',')[5]));
    const mean = probabilities.reduce((a, b) => a + b, 0) / 200;
    expect(Math.abs(mean - 2 / 3)).toBeLessThan(0.1);
    const told = JSON.parse(readFileSync(join(out, 'refit.json'), 'utf8'));
    expect(told).toMatchObject({ kind: 'volary-refit', rows: 200, judged: 90, isBetter: true });
    expect(told.after.calibrationError).toBeLessThan(told.before.calibrationError);
    expect(JSON.parse(readFileSync(join(out, 'run.json'), 'utf8'))).toMatchObject({ name: 'Two birds', study: '../study.json', refit: { labelFile: 'verified.csv' } });
    // The new folder is one that the other commands take.
    expect(runCli(['score', out, '--labels', verified])).toMatchObject({ status: 0 });
  });

  it('gives the same bytes again, and replaces nothing unasked', () => {
    const out = join(root, 'twice');
    expect(runCli(['refit', result, '--labels', verified, '--out', out]).status).toBe(0);
    const first = readAll(out);
    const again = runCli(['refit', result, '--labels', verified, '--out', out]);
    expect([again.status, again.out]).toEqual([1, '']);
    expect(again.err).toMatch(/is there already; choose another place or add --force/);
    expect(runCli(['refit', result, '--labels', verified, '--out', out, '--force', '--json']).status).toBe(0);
    expect(readAll(out)).toEqual(first);
  });

  it('takes labels of a stretch, and refuses them where the stretch is not named', () => {
    const labels = join(root, 'labels.csv');
    const lines = Array.from({ length: 200 }, (_, n) => n).filter((n) => n % 3 > 0).map((n) => `${n % 2 ? 'red' : 'blue'},${n}.01,${n}.1`);
    writeFileSync(labels, `bird,onset_s,offset_s\n${lines.join('\n')}\n`);
    const run = runCli(['refit', result, '--labels', labels, '--from', '20', '--to', '100', '--out', join(root, 'stretch'), '--json']);
    expect([run.status, run.err]).toEqual([0, '']);
    // Of the rows 20 to 99, those that three divides are wrong: 21, 24 ... 99.
    expect(JSON.parse(run.out)).toMatchObject({ judged: 80, right: 53 });
    const whole = runCli(['refit', result, '--labels', labels, '--out', join(root, 'whole')]);
    expect([whole.status, whole.out]).toEqual([2, '']);
    expect(whole.err).toMatch(/--from and --to: labels alone do not say which rows were judged; .*verified\.csv/);
  });

  it('tells each error in one line', () => {
    const few = join(root, 'few.csv');
    writeFileSync(few, readFileSync(verified, 'utf8').split('\n').map((line, k) => (k > 30 ? line.replace(/^(\d+,\w+),\w+,/, '$1,,') : line)).join('\n'));
    const out = join(root, 'never');
    const cases: [string[], number, RegExp][] = [
      [['--labels', few, '--out', out], 1, /too few judged rows to calibrate on; got 30; expected at least 50; judge 20 more/],
      [['--labels', join(root, 'gone.csv'), '--out', out], 1, /gone\.csv": no such file; verify calls in 'volary review' first/],
      [['--labels', verified, '--out', result], 2, /--out: is the folder itself/],
      [['--labels', verified, '--out', out, '--to', '5'], 2, /--to: has no meaning for a verified sample/],
      [['--labels', verified], 2, /required option '-o, --out <dir>'/],
      [['--labels', verified, '--out', out, '--threshold', '2'], 2, /expected a number from 0 to 1/],
    ];
    for (const [args, status, message] of cases) {
      const run = runCli(['refit', result, ...args]);
      expect(run.err).toMatch(message);
      expect([run.status, run.out, run.err.trim().split('\n').length]).toEqual([status, '', 1]);
    }
  });
});
