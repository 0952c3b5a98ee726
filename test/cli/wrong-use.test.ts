/** What the commands say of folders and files that are not what they should be: one line, no word of the program's inside. */
import { mkdirSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { makeFolder } from '../../src/node/write-files.js';
import { formatCsv } from '../../src/table/csv-table.js';
import { callTable, clockTable, trackTable } from '../../src/table/table-specs.js';
import { newFolder, runCli } from './run-cli.js';

const root = newFolder();
const at = (...parts: string[]): string => join(root, ...parts);
afterAll(() => rmSync(root, { recursive: true, force: true }));

/** A result folder with tables of one hour without a call, and this record. */
function writeResult(name: string, record: string): void {
  mkdirSync(at(name));
  writeFileSync(at(name, 'run.json'), record);
  writeFileSync(at(name, 'calls.csv'), formatCsv(callTable, []));
  writeFileSync(at(name, 'clock.csv'), formatCsv(clockTable, []));
  writeFileSync(at(name, 'tracks.csv'), formatCsv(trackTable, ['red', 'blue'].map((track) => ({ track, recorder: '1', startSec: 0, usableSec: 3600, noiseFloorDb: -60, gainDb: 0, lostShare: 0 }))));
}

function expectLine(args: string[], status: number, line: RegExp): void {
  const run = runCli(args, { cwd: root });
  expect([run.status, run.out]).toEqual([status, '']);
  expect(run.err).toMatch(line);
  expect(run.err.trimEnd().split('\n')).toHaveLength(1);
  expect(run.err).not.toMatch(/internal error|please report/);
}

beforeAll(() => {
  writeResult('broken', '{"study":');
  writeResult('null', 'null');
  for (const name of ['empty', 'stopped/unfinished', 'divided/parts']) mkdirSync(at(name), { recursive: true });
  writeFileSync(at('sound.raw'), new Uint8Array(8));
});

describe('a record of a run that is damaged', () => {
  it.each([['rates', []], ['habituation', []], ['report', ['--no-sound']], ['review', []], ['clips', ['--out', 'cut']]])('is named by %s', (command, more) => {
    expectLine([command, 'broken', ...more], 1, /^volary \w+: "broken[\\/]+run\.json": is not JSON; got .+/);
    expectLine([command, 'null', ...more], 1, /^volary \w+: "null[\\/]+run\.json": is not a JSON object$/m);
  }, 120_000);
});

describe('a folder without calls', () => {
  it.each([['rates'], ['review']])('gets the advice that fits, from %s', (command) => {
    expectLine([command, 'empty'], 1, /calls\.csv": .*; run 'volary attribute' with --out and this folder first$/m);
    expectLine([command, 'stopped'], 1, /calls\.csv": .*; an earlier 'volary attribute' was stopped here: give the same command again, and it goes on$/m);
    expectLine([command, 'divided'], 1, /calls\.csv": .*; it is worked on in parts: 'volary attribute' with --merge writes the tables$/m);
  }, 120_000);
});

describe('a file where a folder belongs, and a folder where a file does', () => {
  it('are told', () => {
    expectLine(['watch', '--birds', 'red,blue', '--rate', '8000', '--encoding', 'pcm16', '--input', 'sound.raw', '--idle', '0.1', '--out', 'sound.raw'], 1, /^volary watch: "sound\.raw": cannot be written; got a file is in the way$/m);
    expectLine(['plan', 'empty'], 1, /^volary plan: "empty": not a regular file; got a folder; expected a file$/m);
  });

  it('are told by what makes folders, which also ends where no folder can be made', async () => {
    await makeFolder(at('deep/er/est'));
    await makeFolder(at('deep/er/est'));
    await expect(makeFolder(at('sound.raw'))).rejects.toMatchObject({ code: 'unreadable', detail: { got: 'a file is in the way' } });
    await expect(makeFolder(at('sound.raw', 'x'))).rejects.toMatchObject({ code: 'unreadable' });
    if (process.platform === 'linux') await expect(makeFolder('/proc/no/such')).rejects.toMatchObject({ code: 'unreadable', detail: { got: 'its folder is not there' } });
  });
});

describe('options that contradict each other', () => {
  it.each([['in one order', ['--exclude', 'windows.csv', '--no-exclude']], ['in the other', ['--no-exclude', '--exclude=windows.csv']]])('are refused by rates, %s', (_, options) => {
    expectLine(['rates', 'empty', ...options], 2, /^volary rates: option '--no-exclude' cannot be used with option '--exclude <file>'; see 'volary rates --help'$/m);
  }, 120_000);
});
