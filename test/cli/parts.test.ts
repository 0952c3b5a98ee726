import { cpSync, existsSync, mkdirSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { buildWavFile } from '../../src/audio/wav-writer.js';
import { openCheckpointFolder, type CheckpointHeader } from '../../src/node/checkpoint-folder.js';
import { simulateScene } from '../../src/simulate/simulate-scene.js';
import { makeScene } from '../browser/small-scene.js';
import { newFolder, runCli, startCli, type CliResult } from './run-cli.js';

const folder = newFolder();
const study = join(folder, 'study.json');
const whole = join(folder, 'whole');
const out = join(folder, 'divided');
const part = (block: number): string => join(out, 'parts', `block-${String(block).padStart(6, '0')}.part`);

const attribute = (to: string, ...args: string[]): CliResult => runCli(['attribute', study, '--out', to, '--workers', '1', ...args]);
/** The one line of an error; on a busy machine progress may have been shown before. */
const line = (r: CliResult): string => r.err.split(/[\r\n]+/).filter((l) => l.startsWith('volary')).join('\n');

/** The same step twice at once, and a third time that is killed on the way. */
function runTogether(args: string[]): Promise<(number | null)[]> {
  return Promise.all([false, false, true].map((isKilled) => new Promise<number | null>((resolve) => {
    const child = startCli(['attribute', study, '--out', out, '--workers', '1', ...args]);
    child.stdout.resume();
    child.stderr.resume();
    if (isKilled) setTimeout(() => child.kill('SIGKILL'), 200);
    child.on('exit', resolve);
  })));
}

function readAll(from: string): Record<string, string> {
  const files = readdirSync(from, { withFileTypes: true }).filter((e) => e.isFile());
  return Object.fromEntries(files.map((e) => [e.name, readFileSync(join(from, e.name), 'latin1').replaceAll(from, 'FOLDER')]));
}

function writeStudy(path: string, name: string, birds: string[]): void {
  writeFileSync(path, JSON.stringify({
    volary: 1, name, recorders: [{ name: '1' }], tracks: birds.map((bird) => ({ bird, recorder: '1', files: [{ path: `${bird}.wav`, channel: 1 }] })),
  }));
}

let birds: string[] = [];
beforeAll(() => {
  const scene = makeScene(25, 1);
  const simulated = simulateScene({ ...scene, birds: scene.birds!.slice(0, 2) }, 5);
  birds = simulated.tracks.map((t) => t.bird);
  for (const t of simulated.tracks) {
    // Repeated to 250 s: three blocks of two minutes, the last one short.
    const samples = new Float32Array(t.samples.length * 10);
    for (let k = 0; k < 10; k++) samples.set(t.samples, k * t.samples.length);
    writeFileSync(join(folder, `${t.bird}.wav`), buildWavFile({ sampleRateHz: simulated.sampleRateHz, encoding: 'pcm16' }, [samples]));
  }
  writeStudy(study, 'parts', birds);
}, 120_000);

afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe('attribute in parts', () => {
  it('refuses wrong use in one line', () => {
    const nowhere = join(folder, 'nowhere');
    const refusals: [string[], RegExp][] = [
      [['--plan', '3', '--merge'], /one step at a time; got --plan and --merge; expected one of --plan, --part, --merge$/],
      [['--plan', '3', '--part', '1'], /got --plan and --part/],
      [['--part', '1', '--force'], /--force: a part replaces nothing/],
      [['--part', '1'], /holds no plan of parts; write one first with --plan N$/],
      [['--part', '0'], /whole number from 1/],
      [['--part', ''], /whole number from 1/],
    ];
    for (const [args, message] of refusals) {
      const r = attribute(nowhere, ...args);
      expect(r.status, args.join(' ')).toBe(2);
      expect(r.err.trim().split('\n')[0]).toMatch(message);
      expect(r.err).not.toMatch(/^\s+at /m);
    }
    expect(existsSync(nowhere)).toBe(false);
  }, 120_000);

  it('gives the bytes of an undivided run, whatever happens to the parts', async () => {
    expect(attribute(whole).status).toBe(0);
    const wanted = readAll(whole);
    expect(Object.keys(wanted)).toHaveLength(11);
    expect(wanted['calls.csv'].split('\n').length).toBeGreaterThan(20);

    expect(attribute(out, '--plan', '3').status).toBe(0);
    const plan = JSON.parse(readFileSync(join(out, 'parts', 'plan.json'), 'utf8')) as { parts: { fromSec: number; toSec: number }[] };
    expect(plan.parts.map((p) => [p.fromSec, p.toSec])).toEqual([[0, 120], [120, 240], [240, 250]]);

    // In any order; the third not yet: too early to merge.
    expect(attribute(out, '--part', '2').status).toBe(0);
    const early = attribute(out, '--merge');
    expect(early.status).toBe(1);
    expect(line(early)).toMatch(/^volary attribute: .*not all of the 3 parts are there and whole; got parts not done: 1,3; run these again with --part, then --merge$/);
    expect(existsSync(join(out, 'calls.csv'))).toBe(false);
    const beyond = attribute(out, '--part', '4');
    expect(line(beyond)).toMatch(/no such part in the plan; got 4; expected 1 to 3$/);
    expect(beyond.status).toBe(2);

    expect((await runTogether(['--part', '1'])).slice(0, 2)).toEqual([0, 0]);
    expect(attribute(out, '--part', '3').status).toBe(0);
    const first = readFileSync(part(0));

    // A digit that changed on the disk is told, and mended by the same command.
    const text = readFileSync(part(1), 'latin1');
    const middle = text.length >> 1;
    writeFileSync(part(1), `${text.slice(0, middle)}${text[middle] === '7' ? '3' : '7'}${text.slice(middle + 1)}`, 'latin1');
    writeFileSync(part(2), readFileSync(part(2)).subarray(0, 50));
    const damaged = attribute(out, '--merge');
    expect(damaged.status).toBe(1);
    expect(line(damaged)).toMatch(/got parts damaged: 2-3; run these again/);
    for (const k of ['3', '2', '1']) expect(attribute(out, '--part', k).status).toBe(0);
    expect(readFileSync(part(1), 'latin1')).toBe(text);
    expect(readFileSync(part(0))).toEqual(first);

    const copy = join(folder, 'copy');
    cpSync(out, copy, { recursive: true });
    const merged = attribute(out, '--merge');
    expect(line(merged)).toBe('');
    expect(merged.status).toBe(0);
    expect(readAll(out)).toEqual(wanted);
    expect(readdirSync(out)).not.toContain('parts');

    // The merge was killed while it wrote its tables: started again, it may replace them, and nobody else's.
    writeFileSync(join(copy, 'calls.csv'), 'half');
    expect(line(attribute(copy, '--merge'))).toMatch(/calls\.csv.*is there already/);
    // A file of that name is no leave: it must be this run's own.
    writeFileSync(join(copy, 'parts', 'writing-tables.part'), '');
    expect(line(attribute(copy, '--merge'))).toMatch(/calls\.csv.*is there already/);
    expect(readFileSync(join(copy, 'calls.csv'), 'utf8')).toBe('half');
    const header = JSON.parse(readFileSync(join(copy, 'parts', 'header.json'), 'utf8').split('\n')[1]) as CheckpointHeader;
    await (await openCheckpointFolder(join(copy, 'parts'), header)).save('writing-tables', new Uint8Array(0));
    expect(attribute(copy, '--merge').status).toBe(0);
    expect(readAll(copy)).toEqual(wanted);
  }, 240_000);

  it('holds on to its plan: again is the same, another study or other settings are refused by name', () => {
    const to = join(folder, 'planned');
    mkdirSync(to);
    expect(attribute(to, '--plan', '2').status).toBe(0);
    const files = (): Record<string, string> => readAll(join(to, 'parts'));
    const before = files();
    expect(Object.keys(before).sort()).toEqual(['calibration.part', 'header.json', 'look-1-000000.part', 'look-2-000000.part', 'plan.json', 'survey-000000.part']);
    expect(attribute(to, '--plan', '2').status).toBe(0);
    expect(files()).toEqual(before);
    const other = attribute(to, '--plan', '3');
    expect(line(other)).toMatch(/parts differs; got 2; expected 3; use --force to start anew/);
    expect(other.status).toBe(1);
    expect(line(attribute(to, '--part', '1', '--max-offset', '10'))).toMatch(/maxOffsetSec differs; got 60; expected 10; give the study and the settings of the plan/);
    const otherStudy = join(folder, 'other.json');
    writeStudy(otherStudy, 'other', [...birds].reverse());
    for (const step of [['--plan', '2'], ['--merge']]) {
      expect(line(runCli(['attribute', otherStudy, '--out', to, ...step]))).toMatch(/manifest differs/);
    }
    expect(files()).toEqual(before);
    // A damaged calibration stops the parts; planning again mends it.
    writeFileSync(join(to, 'parts', 'calibration.part'), 'x');
    expect(line(attribute(to, '--part', '1'))).toMatch(/calibration is damaged; run --plan 2 again$/);
    expect(attribute(to, '--plan', '2').status).toBe(0);
    expect(files()).toEqual(before);
    // So does a damaged header: nothing else is lost.
    writeFileSync(join(to, 'parts', 'header.json'), before['header.json'].replace('"parts":2', '"parts":3'));
    for (const step of [['--part', '1'], ['--merge']]) expect(line(attribute(to, ...step))).toMatch(/the plan is damaged; run --plan again, as before: parts that are done are kept$/);
    const mended = attribute(to, '--plan', '2');
    expect(mended.err).toMatch(/header\.json" is damaged: finished work that fits is kept/);
    expect(files()).toEqual(before);
  }, 120_000);
});
