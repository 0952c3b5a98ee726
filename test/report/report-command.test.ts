import { mkdir, mkdtemp, readFile, rm, stat, utimes, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { Command } from 'commander';
import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest';
import { networkTables } from '../../src/analysis/network/index.js';
import { addNetworkCommand } from '../../src/cli/commands/network.js';
import { addRatesCommand } from '../../src/cli/commands/rates.js';
import { addReportCommand } from '../../src/cli/commands/report.js';
import { scoreCalls } from '../../src/score/score-calls.js';
import { scoreToJson } from '../../src/score/score-json.js';
import { formatCsv } from '../../src/table/csv-table.js';
import { callTable, soundTable, trackTable } from '../../src/table/table-specs.js';
import { makeNoise, makeWav } from '../study/make-wav.js';
import { readMarkup, readText } from './read-markup.js';
import { callRow } from './sample-input.js';

const [edgeTable] = networkTables;
let folder = '';

interface Ended { out: string; err: string; status: number | undefined }

const run = (...args: string[]): Promise<Ended> => runCommand('report', ...args);

async function runCommand(...args: string[]): Promise<Ended> {
  let out = '';
  let err = '';
  const spies = [
    vi.spyOn(process.stdout, 'write').mockImplementation((text) => { out += String(text); return true; }),
    vi.spyOn(process.stderr, 'write').mockImplementation((text) => { err += String(text); return true; }),
  ];
  const [argv, exitCode] = [process.argv, process.exitCode];
  process.argv = ['node', 'volary', ...args];
  try {
    const program = new Command('volary').exitOverride();
    for (const add of [addReportCommand, addRatesCommand, addNetworkCommand]) add(program);
    await program.parseAsync(process.argv);
    return { out, err, status: process.exitCode as number | undefined };
  } finally {
    process.argv = argv;
    process.exitCode = exitCode;
    for (const spy of spies) spy.mockRestore();
  }
}

const CALLS = [callRow(1, 'red', 1, 0.99, { track: 'red' }), callRow(2, 'blue', 2, 0.95, { track: 'blue' })];

/** Two tracks of 6 s: noise, a burst of red at 1 s and of blue at 2 s, each fainter and later on the other. */
async function writeStudy(): Promise<string> {
  const rate = 16000;
  const tracks = [makeNoise(6 * rate, 1, 0.001), makeNoise(6 * rate, 2, 0.001)];
  [[0, 1], [1, 2]].forEach(([own, sec]) => makeNoise(0.1 * rate, 5 + own, 0.3).forEach((v, i) => {
    tracks[own][sec * rate + i] += v;
    tracks[1 - own][sec * rate + i + 40] += v / 10;
  }));
  await mkdir(join(folder, 'audio'), { recursive: true });
  await Promise.all(['red', 'blue'].map((bird, i) => writeFile(join(folder, 'audio', `${bird}.wav`), makeWav([tracks[i]], rate))));
  const path = join(folder, 'study.json');
  await writeFile(path, JSON.stringify({
    volary: 1, name: 'Two birds', recorders: [{ name: 'one' }], tracks: ['red', 'blue'].map((bird) => ({ bird, recorder: 'one', files: [{ path: `audio/${bird}.wav`, channel: 1 }] })),
  }));
  return path;
}

async function writeRecord(record: object): Promise<void> {
  await writeFile(join(folder, 'result', 'run.json'), JSON.stringify(record));
}

beforeEach(async () => {
  folder = await mkdtemp(join(tmpdir(), 'volary-report-'));
  await mkdir(join(folder, 'result'));
  await writeFile(join(folder, 'result', 'calls.csv'), formatCsv(callTable, CALLS));
  await writeFile(join(folder, 'result', 'sounds.csv'), formatCsv(soundTable, []));
  await writeFile(join(folder, 'result', 'tracks.csv'), formatCsv(trackTable, ['red', 'blue'].map((track) => ({ track, recorder: 'one', startSec: 0, usableSec: 6, noiseFloorDb: -60, gainDb: 0, lostShare: 0 }))));
});

afterEach(() => rm(folder, { recursive: true, force: true }));

describe('volary report', () => {
  const result = (): string => join(folder, 'result');
  const page = (): Promise<string> => readFile(join(result(), 'report.html'), 'utf8');

  it('draws the recordings that run.json names, marks labels, and writes the same bytes again', async () => {
    const study = await writeStudy();
    await writeRecord({ study, durationSec: 6, gainsDb: { red: 0, blue: 0 }, settings: { bandHz: [400, 7000] } });
    await writeFile(join(folder, 'truth.csv'), 'bird,onset_s,offset_s\nred,1.0,1.1\n');
    const args = [result(), '--labels', join(folder, 'truth.csv')];
    const first = await run(...args);
    // Progress may show on a busy machine; nothing else may.
    expect(first.status).toBe(0);
    expect(first.err).not.toContain('volary report:');
    expect(first.out).toMatch(/^wrote ".*report\.html" \(\d\.\d\d MB\)/);
    const html = await page();
    expect(readMarkup(html).filter((e) => e.name === 'image').map((e) => e.attributes.href.slice(0, 22))).toEqual(Array(2).fill('data:image/png;base64,'));
    expect(html).toContain('labelled call 1.000 to 1.100 s');
    // Both calls are heard 40 frames later and 20 dB quieter on the other track.
    expect(readText(html)).toMatch(/2 sure calls .* 2 pairs of tracks.*louder one in 100 %.*it hears the call first in 100 %/);
    expect(readText(html)).toMatch(/20\.\d dB 2\.50 ms \(1\)/);
    expect((await run(...args, '--force')).status).toBe(0);
    expect(await page()).toBe(html);
  });

  it('draws no calls of one study over the recordings of another', async () => {
    const study = await writeStudy();
    await writeRecord({ study, inputs: [{ path: 'audio/red.wav', sizeBytes: 4, sha256Ends: '0' }, { path: 'audio/blue.wav', sizeBytes: 4, sha256Ends: '0' }] });
    const found = await run(result());
    expect([found.status, found.err]).toEqual([0, expect.stringMatching(/found in other recordings: "audio\/red\.wav" has another length.*no spectrograms/)]);
    expect((await run(result(), '--force', '--study', study)).status).toBe(1);
  });

  it('finds a study named relative to the result, and takes another with --study', async () => {
    const study = await writeStudy();
    await writeRecord({ study: '../study.json' });
    expect(JSON.parse((await run(result(), '--json')).out)).toMatchObject({ calls: 2, excerpts: 1, scored: false, sound: true });
    await writeRecord({ study: 'elsewhere.json' });
    expect(JSON.parse((await run(result(), '--json', '--force', '--study', study, '--at', '0,3')).out)).toMatchObject({ excerpts: 2, sound: true });
  });

  it('works from the tables alone and says so', async () => {
    const { status, err } = await run(result());
    expect(status).toBe(0);
    expect(err).toContain('run.json names no study; no spectrograms');
    expect(readText(await page())).toContain('This report therefore shows no spectrograms');
    await writeRecord({ study: join(folder, 'gone.json') });
    const gone = await run(result(), '--force');
    expect(gone.status).toBe(0);
    expect(gone.err).toMatch(/gone\.json": no such file.*no spectrograms/);
    expect((await run(result(), '--force', '--study', join(folder, 'gone.json'))).status).toBe(1);
  });

  it('says where probabilities were calibrated anew, and not of a refit of another table', async () => {
    const told = { calls: 'a1', labels: 'b2', labelFile: 'verified.csv', threshold: 0.5, line: { shift: -0.4, lowSlope: 1, highSlope: 0.8, untaggedShift: 0 } };
    const whole = { ...told, judged: 210, right: 180, leftOut: 3, before: { calibrationError: 0.08123 }, after: { calibrationError: 0.031 }, isBetter: true };
    await writeRecord({ settings: { threshold: 0.5 }, refit: told });
    await writeFile(join(result(), 'refit.json'), JSON.stringify(whole));
    await run(result(), '--no-sound');
    const text = readText(await page());
    expect(text).toContain('they were calibrated anew on 210 judged rows (180 right) from verified.csv; in rows that the fit had not seen the calibration error went from 0.081 to 0.031; 3 rows below 0.50 were left out.');
    expect(text).toContain('refit.labelFile verified.csv');
    expect(text).toContain('refit.line.shift -0.4');
    // Of another table: only what run.json says itself.
    await writeFile(join(result(), 'refit.json'), JSON.stringify({ ...whole, calls: 'c3' }));
    await run(result(), '--no-sound', '--force');
    expect(readText(await page())).toContain('they were calibrated anew on rows that were judged from verified.csv; rows below 0.50 were left out.');
    // Attributed anew in the same folder: refit.json is left over.
    await writeRecord({ settings: { threshold: 0.5 } });
    await run(result(), '--no-sound', '--force');
    expect(readText(await page())).not.toContain('calibrated anew');
    // Tables without a record of their run.
    await rm(join(result(), 'run.json'));
    await run(result(), '--no-sound', '--force');
    expect(readText(await page())).toContain('calibrated anew on 210 judged rows');
    await writeFile(join(result(), 'refit.json'), '[]');
    expect((await run(result(), '--no-sound', '--force')).err).toMatch(/refit\.json": is not a JSON object; run 'volary refit' again/);
  });

  it('tells the score, unless it is older than the calls', async () => {
    const path = join(result(), 'score.json');
    await writeFile(path, scoreToJson(scoreCalls(CALLS, [{ bird: 'red', onsetSec: 1, offsetSec: 1.1, extra: {} }], { resamples: 50 })));
    await run(result(), '--no-sound');
    expect(readText(await page())).toContain('2 rows of the table were held against 1 labelled call');
    const { mtime } = await stat(join(result(), 'calls.csv'));
    await utimes(path, mtime, new Date(mtime.getTime() - 10_000));
    const stale = await run(result(), '--no-sound', '--force');
    expect(stale.err).toContain('score.json is older than calls.csv and is left out');
    expect(readText(await page())).toContain('Not measured yet');
    await writeFile(path, '{"kind":"other"}');
    expect((await run(result(), '--no-sound', '--force')).err).toContain('not a score of this version');
  });

  it('asks for a new run in one line where an earlier version wrote the table of an analysis', async () => {
    const path = join(result(), 'network.csv');
    const columns = edgeTable.columns.map((c) => c.name).filter((name) => name !== 'through' && name !== 'indirect_excess');
    await writeFile(path, `${columns.join(',')}\n`);
    const { status, out, err } = await run(result(), '--no-sound');
    expect([status, out]).toEqual([1, '']);
    expect(err).toBe(`volary report: ${JSON.stringify(path)} row 1: column indirect_excess is missing; expected a table as this version writes it; run 'volary network' again\n`);
    await writeFile(path, formatCsv(edgeTable, []));
    expect((await run(result(), '--no-sound')).status).toBe(0);
    await writeFile(join(result(), 'habituation.csv'), 'bird,day\n');
    expect((await run(result(), '--no-sound', '--force')).err).toMatch(/is missing; .*run 'volary habituation' again\n$/);
  });

  describe('with windows to leave out', () => {
    const WINDOW = 'bird,start_s,end_s,reason\nred,0,0.5,disturbed\n';
    const exclude = (text: string): Promise<void> => writeFile(join(result(), 'excluded.csv'), text);
    const analyse = async (...more: string[]): Promise<void> => {
      expect((await runCommand('rates', result(), ...more)).status).toBe(0);
      expect((await runCommand('network', result(), '--surrogates', '19', '--draws', '20')).status).toBe(0);
    };
    const report = async (): Promise<{ err: string; text: string }> => ({ err: (await run(result(), '--no-sound', '--force')).err, text: readText(await page()) });

    it('says what was left out where rates and network did so', async () => {
      await exclude(WINDOW);
      await analyse();
      const { err, text } = await report();
      expect(err).toBe('');
      expect(text).toContain('Hatched: left out of rates and the network; the calls');
      expect(text).toContain('0.5 s of bird time were left out of rates and the network.');
      expect(text).toContain('Calls per usable hour.');
      // The same windows written anew, as habituation does when it runs again, change nothing.
      await exclude('bird,start_s,end_s,reason\nred,0.000,0.500,another reason\n');
      expect((await report()).err).toBe('');
    });

    it.each([['came', undefined], ['changed', 'bird,start_s,end_s,reason\nred,0,0.4,disturbed\n']])('leaves out tables that were made before the windows %s', async (_, before) => {
      if (before !== undefined) await exclude(before);
      await analyse();
      expect((await report()).err).toBe('');
      await exclude(WINDOW);
      const { err, text } = await report();
      expect(err).toBe(['rates', 'network'].map((name) => `volary report: ${name}.csv leaves out other time than excluded.csv lists now and is left out; run 'volary ${name}' again\n`).join(''));
      expect(text).toContain('Hatched: listed in excluded.csv, but no number of this report leaves it out; the calls');
      expect(text).not.toContain('bird time were left out');
      expect(text).not.toContain('Calls per usable hour.');
    });

    it('goes by the age of the files where the record does not tell the windows', async () => {
      await exclude(WINDOW);
      await analyse();
      for (const name of ['rates', 'network']) await rm(join(result(), `${name}.json`));
      expect((await report()).err).toBe('');
      const { mtime } = await stat(join(result(), 'rates.csv'));
      await utimes(join(result(), 'excluded.csv'), mtime, new Date(mtime.getTime() + 10_000));
      expect((await report()).err).toMatch(/rates\.csv leaves out other time.*\n.*network\.csv leaves out other time/);
    });

    it.each([[['--no-exclude'], 'nothing is excluded, as asked'], [['--exclude', 'own.csv'], 'own.csv']])('keeps rates that were asked for with %j, and says so', async (asked, words) => {
      await exclude(WINDOW);
      await writeFile(join(folder, 'own.csv'), 'bird,start_s,end_s,reason\n,1,2,own\n');
      await analyse(...asked.map((a) => (a === 'own.csv' ? join(folder, a) : a)));
      const { err, text } = await report();
      expect(err).toBe('');
      expect(text).toContain('Hatched: left out of the network; the calls of that time stay in the call table. Rates go by other windows (');
      expect(text).toContain(`${words}).`);
      expect(text).toContain('0.5 s of bird time were left out of the network.');
      expect(text).toContain('Calls per usable hour.');
    });

    it('shows no window of a bird that is in no table, and says so', async () => {
      await exclude(`${WINDOW}Red,3,4,misspelt\n`);
      const { err, text } = await report();
      expect(err).toBe('volary report: excluded.csv names "Red", in no table; expected blue, red; windows of this bird are not shown: correct the name\n');
      expect(text).toContain('disturbed 1 1 0.5 s');
      expect(text).not.toContain('misspelt');
    });
  });

  it('replaces nothing unasked, and refuses what is not there', async () => {
    await writeFile(join(result(), 'report.html'), 'mine');
    const refused = await run(result(), '--no-sound');
    expect(refused.status).toBe(1);
    expect(refused.err).toContain('is there already');
    expect(await page()).toBe('mine');
    expect((await run(join(folder, 'nowhere'))).status).toBe(1);
    await writeFile(join(result(), 'run.json'), '{broken');
    expect((await run(result(), '--force')).err).toMatch(/run\.json": is not JSON/);
  });

  it('refuses an excerpt after the end', async () => {
    await writeRecord({ study: await writeStudy() });
    const { status, err } = await run(result(), '--at', '7');
    expect(status).toBe(2);
    expect(err).toContain('after the end of the study');
  });
});
