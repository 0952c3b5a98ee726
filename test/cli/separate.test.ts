import { cpSync, existsSync, mkdirSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { buildWavFile } from '../../src/audio/wav-writer.js';
import { drawRandomScene } from '../../src/simulate/random-scene.js';
import { simulateScene } from '../../src/simulate/simulate-scene.js';
import { newFolder, runCli } from './run-cli.js';
import { countRunEvents, readResult, runUntil } from './stopped-study.js';

const folder = newFolder();
afterAll(() => rmSync(folder, { recursive: true, force: true }));
const at = (name: string): string => join(folder, name);
const separate = (...args: string[]) => runCli(['separate', at('study.json'), '--workers', '1', ...args]);

beforeAll(() => {
  const scene = simulateScene({ ...drawRandomScene(5101, 'easy'), durationSec: 12 }, 5101);
  for (const t of scene.tracks) writeFileSync(at(`${t.bird}.wav`), buildWavFile({ sampleRateHz: scene.sampleRateHz, encoding: 'pcm16' }, [t.samples]));
  const tracks = scene.tracks.map((t) => ({ bird: t.bird, recorder: '1', files: [{ path: `${t.bird}.wav`, channel: 1 }] }));
  writeFileSync(at('study.json'), JSON.stringify({ volary: 1, name: 'short', recorders: [{ name: '1' }], tracks }));
  expect(runCli(['attribute', at('study.json'), '--out', at('result')]).status).toBe(0);
  expect(separate('--calls', at('result'), '--out', at('whole')).status).toBe(0);
});

describe('separate, with calls from a folder', () => {
  it('takes the result of its study and what was refitted of it without a word', () => {
    // The result of so short a scene has too few rows to be refitted: its first one is told again and again.
    cpSync(at('result'), at('many'), { recursive: true });
    const [header, first] = readFileSync(at('result/calls.csv'), 'utf8').split('\n');
    const rows = Array.from({ length: 80 }, (_, n) => [n + 1, first.split(',')[1], (0.14 * n).toFixed(6), (0.14 * n + 0.1).toFixed(6), ...first.split(',').slice(4)]);
    writeFileSync(at('many/calls.csv'), [header, ...rows.map((row) => row.join(',')), ''].join('\n'));
    writeFileSync(at('labels.csv'), ['bird,onset_s,offset_s', ...rows.filter((_, n) => n % 3).map((row) => row.slice(1, 4).join(',')), ''].join('\n'));
    const refit = runCli(['refit', at('many'), '--labels', at('labels.csv'), '--from', '0', '--to', '12', '--out', at('refitted')]);
    expect([refit.status, refit.err]).toEqual([0, '']);
    const run = separate('--calls', at('refitted'), '--out', at('from-refitted'));
    expect([run.status, run.err]).toEqual([0, '']);
  });

  it('refuses the result of another study in one line and writes nothing', () => {
    cpSync(at('result'), at('other'), { recursive: true });
    const record = JSON.parse(readFileSync(at('other/run.json'), 'utf8')) as { inputs: { path: string; sha256Ends: string }[] };
    record.inputs[1].sha256Ends = '0'.repeat(64);
    writeFileSync(at('other/run.json'), JSON.stringify(record));
    const run = separate('--calls', at('other'), '--out', at('from-other'));
    expect([run.status, run.out]).toEqual([1, '']);
    expect(run.err).toMatch(/^volary separate: ".*run\.json": the calls were found in other recordings: ".*\.wav" holds other sound; got .*\n$/);
    expect(readdirSync(at('from-other'))).toEqual([]);
  });

  it('warns where nothing says which recordings they are of', () => {
    mkdirSync(at('bare'));
    for (const name of ['calls.csv', 'sounds.csv', 'clock.csv']) cpSync(at(`result/${name}`), at(`bare/${name}`));
    const run = separate('--calls', at('bare'), '--out', at('from-bare'));
    expect(run.status).toBe(0);
    expect(run.err).toMatch(/^warning: no run.json in ".*bare" says which recordings the calls were found in.*\n$/);
  });
});

describe.skipIf(process.platform === 'win32')('separate, killed and started again (skipped on Windows, which has no signals)', () => {
  it('ends with the bytes of an undisturbed run and leaves nothing else, wherever it was killed', async () => {
    const command = (out: string): string[] => ['separate', at('study.json'), '--workers', '1', '--calls', at('result'), '--out', out];
    const events = await countRunEvents(command(at('counted')), at('count')), wanted = readResult(at('whole'));
    expect(readResult(at('counted'))).toEqual(wanted);
    // The last ones rename the tracks, write the record and remove the mark.
    const out = at('killed'), left = new Set<string>();
    for (let endAt = 5; endAt <= events; endAt += endAt < events - 16 ? 7 : 1) {
      expect((await runUntil(command(out), endAt)).signal).toBe('SIGKILL');
      for (const name of readdirSync(out)) left.add(/\.part$/.test(name) ? 'part' : name);
      const isMarked = existsSync(join(out, 'separation-unfinished.json'));
      // Killed after its very last step there is nothing to go on with; other work is refused as ever.
      const again = isMarked ? await runUntil(command(out)) : undefined;
      if (isMarked) expect([again?.status, again?.notes], `killed at ${endAt} of ${events}`).toEqual([0, '']);
      if (isMarked || endAt === events) expect(readResult(out), `killed at ${endAt} of ${events}`).toEqual(wanted);
      rmSync(out, { recursive: true });
    }
    expect([...left]).toEqual(expect.arrayContaining(['part', 'separation-unfinished.json', 'separation.json', ...Object.keys(wanted)]));
  }, 300_000);

  it('leaves tracks alone that another command was making', async () => {
    const out = at('mixed'), command = ['separate', at('study.json'), '--workers', '1', '--calls', at('result'), '--out', out];
    const events = await countRunEvents(['separate', at('study.json'), '--workers', '1', '--calls', at('result'), '--out', at('mixed-count')], at('mixed-events'));
    await runUntil(command, events - 3);
    const before = readResult(out);
    const other = runCli([...command, '--keep-noise']);
    expect([other.status, other.err]).toEqual([1, expect.stringMatching(/\.wav": is there already; choose another place or add --force/)]);
    expect(readResult(out)).toEqual(before);
  }, 60_000);

  it('goes on with the calls that it had found', async () => {
    const out = at('both'), command = ['separate', at('study.json'), '--workers', '1', '--out', out];
    expect((await runUntil(command)).status).toBe(0);
    const wanted = readResult(out), calls = readResult(join(out, 'calls'));
    rmSync(out, { recursive: true });
    const events = await countRunEvents(command, at('both-events'));
    rmSync(out, { recursive: true });
    expect((await runUntil(command, events - 8)).signal).toBe('SIGKILL');
    const again = await runUntil(command);
    expect([again.status, again.notes]).toEqual([0, expect.stringContaining('going on with the calls that an earlier run had found')]);
    expect([readResult(out), readResult(join(out, 'calls'))]).toEqual([wanted, calls]);
    // A run that is done is done: nothing may be replaced unasked.
    expect(runCli(command)).toMatchObject({ status: 1, err: expect.stringMatching(/is there already/) as string });
  }, 120_000);
});
