import { copyFileSync, existsSync, mkdirSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { buildWavFile } from '../../src/audio/wav-writer.js';
import type { SimulatedScene } from '../../src/simulate/simulate-scene.js';
import { writeScene } from '../browser/small-scene.js';
import { newFolder, runCli, type CliResult } from './run-cli.js';

const folder = newFolder();
const at = (...parts: string[]): string => join(folder, ...parts);
const text = (...parts: string[]): string => readFileSync(at(...parts), 'utf8');
const TABLES = ['calls', 'clock', 'sounds', 'tracks'].flatMap((n) => [`${n}.csv`, `${n}.parquet`]);
const WRITTEN = [...TABLES, 'datapackage.json', 'csv-metadata.json', 'run.json'].sort();

/** Writes a manifest with one WAV per bird, named like it. */
function writeStudy(name: string, birds: string[]): string {
  const tracks = birds.map((bird) => ({ bird, recorder: '1', files: [{ path: `${bird}.wav`, channel: 1 }] }));
  writeFileSync(at(`${name}.json`), JSON.stringify({ volary: 1, name, recorders: [{ name: '1' }], tracks }));
  return at(`${name}.json`);
}

const attribute = (study: string, out: string, ...more: string[]): CliResult => runCli(['attribute', study, '--out', at(out), '--workers', '1', ...more]);
/** Lines of text; on a busy machine progress may have been shown on standard error. */
const lines = (s: string): string[] => s.split(/[\r\n]+/).filter((l) => l !== '' && !/^(survey|calibration(, once more)?|extraction) +\d+ %/.test(l));

/** Nothing of the program's inside reaches the user. */
function expectPlain(r: CliResult): void {
  expect(r.err).not.toMatch(/^\s+at |node:internal|internal error|\.js:\d/m);
}

let good: CliResult;
let scene: SimulatedScene;
beforeAll(() => {
  scene = writeScene(folder, 10, 1).scene;
  good = attribute(writeStudy('good', ['red', 'blue', 'green']), 'good');
  const sound = readFileSync(at('white.wav'));
  const patch = (name: string, change: (bytes: Buffer) => void): void => { const b = Buffer.from(sound); change(b); writeFileSync(at(name), b); };
  writeFileSync(at('text.wav'), 'this is no sound\n'.repeat(50));
  patch('mute.wav', (b) => b.writeUInt16LE(0, 22));
  patch('rate.wav', (b) => { b.writeUInt32LE(44100, 24); b.writeUInt32LE(88200, 28); });
  patch('liar.wav', (b) => b.writeUInt32LE(1, 28));
  writeFileSync(at('cut.wav'), sound.subarray(0, Math.floor(sound.length * 0.7)));
  writeFileSync(at('nothing.wav'), '');
  mkdirSync(at('folder.wav'));
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe('attribute', () => {
  it('writes all tables and says what it found on standard output', () => {
    expect(good.status).toBe(0);
    expect(lines(good.err)).toEqual([]);
    expect(readdirSync(at('good')).sort()).toEqual(WRITTEN);
    const calls = lines(text('good', 'calls.csv')).slice(1);
    expect(calls.length).toBeGreaterThan(5);
    expect(good.out.split('\n')).toHaveLength(8);
    expect(lines(good.out)[0]).toBe(`good: ${calls.length} calls in 10.0 s`);
    for (const bird of ['red', 'blue', 'green', 'none']) {
      const count = calls.filter((l) => l.split(',')[1] === bird).length;
      expect(good.out).toMatch(new RegExp(`^${bird} +${count} `, 'm'));
    }
    for (const name of ['calls', 'clock', 'sounds', 'tracks']) expect(readFileSync(at('good', `${name}.parquet`)).subarray(0, 4).toString()).toBe('PAR1');
    const run = JSON.parse(text('good', 'run.json')) as Record<string, unknown>;
    expect(Object.keys(run)).toEqual(expect.arrayContaining(['schema', 'versions', 'kernelHash', 'settings', 'inputs', 'durationSec']));
    // No place on this disk: study and result that move together keep their bytes.
    expect(run.study).toBe('../good.json');
    expect(JSON.stringify(run)).not.toContain(JSON.stringify(folder).slice(1, -1));
  });

  it('with --json prints one line that parses, and nothing else', () => {
    const r = attribute(at('good.json'), 'json', '--json');
    expect(r.status).toBe(0);
    const summary = JSON.parse(r.out) as { calls: number; durationSec: number; problems: number; perBird: { bird: string; calls: number }[] };
    expect(summary).toMatchObject({ calls: lines(text('good', 'calls.csv')).length - 1, durationSec: 10, problems: 0 });
    expect(summary.perBird.map((b) => b.bird)).toEqual(['red', 'blue', 'green', 'none']);
    expect(text('json', 'calls.csv')).toBe(text('good', 'calls.csv'));
  });

  it('replaces nothing without --force, and the same by the same with it', () => {
    const before = text('good', 'calls.csv');
    writeFileSync(at('good', 'notes.txt'), 'mine');
    const refused = attribute(at('good.json'), 'good');
    expect(refused.status).toBe(1);
    expect(refused.out).toBe('');
    expect(lines(refused.err)).toEqual([expect.stringMatching(/^volary attribute: ".*calls\.csv": is there already; .*--force$/)]);
    expect(text('good', 'calls.csv')).toBe(before);
    writeFileSync(at('good', 'calls.csv'), 'old');
    expect(attribute(at('good.json'), 'good', '--force').status).toBe(0);
    expect(text('good', 'calls.csv')).toBe(before);
    expect(text('good', 'notes.txt')).toBe('mine');
  });
});

describe('damaged and foreign input', () => {
  it('each gets a line of its own, the exit status says so, and the good tracks give what they give alone', () => {
    const r = attribute(writeStudy('bad', ['red', 'text', 'blue', 'mute', 'green', 'rate', 'folder', 'missing', 'nothing']), 'bad');
    expect(r.status).toBe(1);
    expectPlain(r);
    const said = lines(r.err);
    for (const [file, words] of [['text', /not a sound file/], ['mute', /no channels; got 0 channels/], ['folder', /got a folder/], ['missing', /no such file/], ['nothing', /nothing\.wav/]] as const) {
      expect(said.filter((l) => l.includes(`${file}.wav"`) && words.test(l)), file).toHaveLength(1);
    }
    expect(said.filter((l) => /"rate" cannot be used: .*44100 Hz; expected 32000 Hz/.test(l))).toHaveLength(1);
    expect(said.every((l) => /^(error|warning): /.test(l))).toBe(true);
    expect(readdirSync(at('bad')).sort()).toEqual(WRITTEN);
    for (const name of ['calls.csv', 'sounds.csv', 'calls.parquet']) expect(readFileSync(at('bad', name)).equals(readFileSync(at('good', name)))).toBe(true);
  });

  it('a file that is cut short is used as far as it goes; its rest counts as lost', () => {
    const r = attribute(writeStudy('short', ['red', 'blue', 'green', 'cut']), 'short');
    expect(r.status).toBe(1);
    expectPlain(r);
    expect(lines(r.err).filter((l) => /"cut\.wav": .*cut short/.test(l))).toHaveLength(1);
    const row = lines(text('short', 'tracks.csv')).find((l) => l.startsWith('cut,'))!.split(',');
    // 44 bytes of header and 70 % of 10 s.
    expect(Number(row[3])).toBeCloseTo(7, 1);
    expect(lines(text('short', 'calls.csv')).filter((l) => l.split(',')[1] === 'cut').every((l) => Number(l.split(',')[2]) < 7)).toBe(true);
  });

  it('a header that contradicts itself is believed where it makes sense, and told of', () => {
    const r = attribute(writeStudy('lies', ['red', 'liar']), 'lies');
    expect(r.status).toBe(1);
    expectPlain(r);
    expect(r.err).toMatch(/liar\.wav": format chunk declares 1 bytes per second/);
  });

  it.each([
    ['one usable track', ['red', 'text']], ['no usable track', ['text', 'missing']],
  ])('%s is not enough: nothing is written, and what was there stays', (_, birds) => {
    const study = writeStudy('few', birds);
    const fresh = attribute(study, 'few');
    expect(fresh).toMatchObject({ status: 1, out: '' });
    expectPlain(fresh);
    expect(lines(fresh.err).at(-1)).toMatch(/^volary attribute: attribution compares tracks; got [01] usable; expected at least two; run 'volary check' to see why$/);
    expect(existsSync(at('few'))).toBe(false);
    const before = readdirSync(at('good')).map((f) => readFileSync(at('good', f)));
    expect(attribute(study, 'good', '--force').status).toBe(1);
    expect(readdirSync(at('good')).map((f) => readFileSync(at('good', f)))).toEqual(before);
  });

  it('silence on all tracks gives tables without calls', () => {
    const silent = readFileSync(at('red.wav'));
    silent.fill(0, 44);
    writeFileSync(at('still.wav'), silent);
    copyFileSync(at('still.wav'), at('quiet.wav'));
    const r = attribute(writeStudy('silence', ['still', 'quiet']), 'silence');
    expect(r.status).toBe(0);
    expect(lines(text('silence', 'calls.csv'))).toHaveLength(1);
    expect(text('silence', 'tracks.csv')).not.toMatch(/NaN|Infinity/);
  });
});

describe('what a track is worth', () => {
  const trackRow = (out: string, bird: string): string[] => lines(text(out, 'tracks.csv')).find((l) => l.startsWith(`${bird},`))!.split(',');
  const writeFloats = (name: string, bird: string, change: (x: Float32Array) => void): void => {
    const samples = scene.tracks.find((t) => t.bird === bird)!.samples.slice();
    change(samples);
    writeFileSync(at(name), buildWavFile({ sampleRateHz: scene.sampleRateHz, encoding: 'float32' }, [samples]));
  };

  it('digital silence counts as lost, for its link is down; it is no damage', () => {
    const half = readFileSync(at('green.wav'));
    half.fill(0, 44 + 2 * Math.floor((half.length - 44) / 4));
    writeFileSync(at('half.wav'), half);
    const r = attribute(writeStudy('halved', ['red', 'blue', 'half']), 'halved');
    expect([r.status, lines(r.err)]).toEqual([0, []]);
    const [, , , usable, , , lost] = trackRow('halved', 'half').map(Number);
    // 4 s to the start of the silence are heard, and what of the sound is a zero by itself.
    expect(usable).toBeCloseTo(5, 2);
    expect(lost).toBeCloseTo(0.5, 3);
    expect(Number(trackRow('halved', 'red')[3])).toBe(10);
  });

  it('a track that is silent throughout is worth nothing, and nothing breaks over it', () => {
    const none = readFileSync(at('green.wav'));
    none.fill(0, 44);
    writeFileSync(at('mum.wav'), none);
    const r = attribute(writeStudy('mum', ['red', 'blue', 'mum']), 'mum');
    expect([r.status, lines(r.err)]).toEqual([0, []]);
    const row = trackRow('mum', 'mum');
    expect([Number(row[3]), Number(row[6])]).toEqual([0, 1]);
    expect(text('mum', 'tracks.csv')).not.toMatch(/NaN|Infinity/);
    for (const command of ['rates', 'report']) {
      const after = runCli([command, at('mum'), ...(command === 'report' ? ['-o', at('mum.html')] : [])]);
      expect(after.status, after.err).toBe(0);
      expectPlain(after);
    }
  });

  it.each([1, 2])('samples that are no numbers are told once per track and are heard as 0, with %i workers', (workers) => {
    writeFloats('nan.wav', 'red', (x) => { for (const k of [0, 5, 31_999, 32_000, 200_000, 319_999]) x[k] = [NaN, Infinity, -Infinity][k % 3]; });
    writeFloats('zero.wav', 'red', (x) => { for (const k of [0, 5, 31_999, 32_000, 200_000, 319_999]) x[k] = 0; });
    const study = writeStudy('nan', ['nan', 'blue', 'green']);
    const r = runCli(['attribute', study, '--out', at('nan'), '--workers', String(workers), '--force']);
    expect([r.status, lines(r.err)]).toEqual([0, ['warning: "nan": 6 samples are no numbers and were read as 0']]);
    attribute(writeStudy('zero', ['zero', 'blue', 'green']), 'zero', '--force');
    expect(text('nan', 'calls.csv').replaceAll('nan,', 'zero,')).toBe(text('zero', 'calls.csv'));
    const apart = runCli(['separate', study, '--calls', at('nan'), '--out', at(`apart-${workers}`), '--workers', String(workers)]);
    expect([apart.status, lines(apart.err).filter((l) => l.startsWith('warning'))]).toEqual([0, ['warning: "nan": samples that are no numbers were written as 0']]);
  });

  it('a file that goes away is missed by workers as by the main thread: their tracks are those of the study', async () => {
    const { loadStudy } = (await import('../../dist/node/study-files.js' as string)) as typeof import('../../src/node/study-files.js');
    const { attributeLoadedStudy } = (await import('../../dist/node/attribute-study-file.js' as string)) as typeof import('../../src/node/attribute-study-file.js');
    copyFileSync(at('green.wav'), at('gone.wav'));
    const opened = await loadStudy(writeStudy('gone', ['red', 'blue', 'gone']));
    rmSync(at('gone.wav'));
    const [pooled, inline] = [await attributeLoadedStudy(opened, { workers: 1 }), await attributeLoadedStudy(opened, { workers: 0 })];
    expect(pooled.problems.map((p) => p.text)).toEqual([expect.stringMatching(/gone\.wav": no such file/), expect.stringMatching(/"gone": 10\.000 s cannot be read/)]);
    expect(pooled.tracks).toEqual(inline.tracks);
    expect(pooled.calls).toEqual(inline.calls);
  });
});

describe('tables of someone else', () => {
  it('are not replaced because a file of the name of unfinished work lies there', () => {
    for (const content of ['', 'x'.repeat(64) + '\n']) {
      mkdirSync(at('foreign', 'unfinished'), { recursive: true });
      writeFileSync(at('foreign', 'unfinished', 'writing-tables.part'), content);
      writeFileSync(at('foreign', 'calls.csv'), 'mine');
      const r = attribute(at('good.json'), 'foreign');
      expect([r.status, lines(r.err)]).toEqual([1, [expect.stringMatching(/^volary attribute: ".*calls\.csv": is there already; .*--force$/)]]);
      expect(text('foreign', 'calls.csv')).toBe('mine');
    }
  });
});

describe('wrong use', () => {
  const study = (): string => at('good.json');
  const cases: [string, () => string[], number, RegExp][] = [
    ['an empty study', () => { writeFileSync(at('empty.json'), JSON.stringify({ volary: 1, name: 'e', recorders: [{ name: '1' }], tracks: [] })); return [at('empty.json'), '--out', at('w')]; }, 1, /tracks: .*\[\]; expected at least 1/],
    ['a sound file for a study', () => [at('red.wav'), '--out', at('w')], 1, /is not JSON/],
    ['a study that is not there', () => [at('nope.json'), '--out', at('w')], 1, /no such file; .*volary draft/],
    ['a folder for a study', () => [folder, '--out', at('w')], 1, /got a folder/],
    ['a file for the result', () => [study(), '--out', at('red.wav')], 1, /cannot be written/],
    ['a result below a file', () => [study(), '--out', at('red.wav', 'x')], 1, /a part of the path is a file/],
    ['no --out', () => [study()], 2, /--out <dir>' not specified/],
    ['no study', () => ['--out', at('w')], 2, /missing required argument 'study'/],
    ['two studies', () => [study(), study(), '--out', at('w')], 2, /too many arguments/],
    ['no workers', () => [study(), '--out', at('w'), '--workers', '0'], 2, /whole number from 1 to 64/],
    ['workers in words', () => [study(), '--out', at('w'), '--workers', 'two'], 2, /whole number from 1 to 64/],
    ['a negative offset', () => [study(), '--out', at('w'), '--max-offset', '-3'], 2, /number from 0\.1 to 3600/],
    ['an unknown option', () => [study(), '--out', at('w'), '--fast'], 2, /unknown option '--fast'/],
  ];

  it.each(cases)('%s: one line, and nothing written', (_, args, status, words) => {
    const r = runCli(['attribute', ...args()]);
    expect(r.status).toBe(status);
    expect(r.out).toBe('');
    expect(lines(r.err)).toEqual([expect.stringMatching(/^volary attribute: /)]);
    expect(r.err).toMatch(words);
    expectPlain(r);
    expect(existsSync(at('w'))).toBe(false);
  });
});
