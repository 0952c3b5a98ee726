import { existsSync, mkdirSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { formatTrial } from '../../src/analysis/plan/trial-accuracy.js';
import type { TrialAccuracy } from '../../src/analysis/plan/trial-accuracy.js';
import { buildWavFile } from '../../src/audio/wav-writer.js';
import { makeNoise } from '../study/make-wav.js';
import { newFolder, runCli } from './run-cli.js';

const root = newFolder();
afterAll(() => rmSync(root, { recursive: true, force: true }));

describe('volary plan', () => {
  const example = fileURLToPath(new URL('../../fixtures/plans/four-finches.json', import.meta.url));

  it('prints the example, writes its tables and replaces them only when told', () => {
    const out = join(root, 'plan');
    const run = runCli(['plan', example, '--out', out]);
    expect([run.status, run.err]).toEqual([0, '']);
    expect(run.out).toContain('Nothing to mend was found.');
    expect(run.out).toContain('the radio authority of the country decides');
    expect(readdirSync(out).sort()).toEqual(['plan-birds.csv', 'plan-carriers.csv', 'plan-clashes.csv', 'plan-result.json', 'plan-schedule.csv']);
    expect(runCli(['plan', example, '--out', out])).toMatchObject({ status: 1, err: expect.stringMatching(/is there already; choose another place or add --force\n$/) as string });
    const json = runCli(['plan', example, '--out', out, '--force', '--json']);
    expect(JSON.parse(json.out)).toMatchObject({ kind: 'volary-plan', faults: [], battery: { usableDays: 9 } });
    expect(JSON.parse(readFileSync(join(out, 'plan-result.json'), 'utf8'))).toEqual(JSON.parse(json.out));
  });

  it('ends with 1 where something is to mend or the plan is none, with 2 for wrong use', () => {
    const heavy = join(root, 'heavy.json');
    writeFileSync(heavy, readFileSync(example, 'utf8').replace('"tag_g": 0.45', '"tag_g": 0.9'));
    const run = runCli(['plan', heavy]);
    expect([run.status, run.err]).toEqual([1, '']);
    expect(run.out).toContain('To mend:\n  tag above 5 % of body mass: red\n');
    writeFileSync(heavy, '{"volary_plan":1}');
    expect(runCli(['plan', heavy])).toMatchObject({ status: 1, out: '', err: expect.stringMatching(/^volary plan: ".*heavy.json": the whole file: "name" is missing; .*\n$/) as string });
    expect(runCli(['plan', join(root, 'gone.json')])).toMatchObject({ status: 1, err: expect.stringMatching(/^volary plan: .*no such file.*\n$/) as string });
    expect(runCli(['plan']).status).toBe(2);
  });
});

describe('the trial of a plan', () => {
  const plan = (name: string, trial: object): string => {
    const path = join(root, name);
    writeFileSync(path, JSON.stringify({ volary_plan: 1, name: 'try the room', days: 5, birds: ['red', 'blue'].map((bird) => ({ name: bird, mass_g: 15, tag_g: 0.4 })), trial }));
    return path;
  };
  // Two birds apart in a dry room, faults and noise as the simulator has them by default.
  const scene = JSON.parse(readFileSync(fileURLToPath(new URL('../../fixtures/scenes/four-finches.json', import.meta.url)), 'utf8')) as { durationSec: number; birds: { name: string }[] };

  it('says how right the calls of the room would be, the same as by hand', () => {
    writeFileSync(join(root, 'room.json'), JSON.stringify({ ...scene, durationSec: 12, birds: scene.birds.filter((b) => ['red', 'white', 'green'].includes(b.name)) }));
    const path = plan('trial.json', { scene: 'room.json', runs: 2, seed: 7 });
    const run = runCli(['plan', path, '--json'], { timeoutMs: 200_000 });
    expect(run.status).toBe(0);
    const { accuracy } = JSON.parse(run.out) as { accuracy: TrialAccuracy & { rightBird: Record<'value' | 'low' | 'high', number>; perRun: number[] } };
    expect(formatTrial(accuracy, { birds: 2, sampleRateHz: 32000 }).filter((l) => l.includes('Caution'))).toEqual(['  Caution: the simulated recordings have 3 tagged birds, the plan 2.']);
    expect(accuracy).toMatchObject({ seeds: [7, 8], birds: [3, 3], durationSec: 12, source: 'room.json' });
    expect(accuracy.rightBird.low).toBeLessThanOrEqual(accuracy.rightBird.value);
    expect(accuracy.rightBird.high).toBeGreaterThanOrEqual(accuracy.rightBird.value);
    const trial = join(root, 'trial');
    for (const args of [['simulate', join(root, 'room.json'), '--out', trial, '--seed', '7'], ['draft', trial, '-o', join(trial, 'study.json')], ['attribute', join(trial, 'study.json'), '--out', join(trial, 'result'), '--workers', '1']]) {
      expect([args[0], runCli(args, { timeoutMs: 100_000 }).status]).toEqual([args[0], 0]);
    }
    const score = JSON.parse(runCli(['score', join(trial, 'result'), '--labels', join(trial, 'truth', 'truth.csv'), '--json']).out) as { rightBird: { f1: { value: number } }; counts: { taggedLabels: number } };
    // By hand the samples go through 16-bit files: a call at the limit may fall to the other side.
    expect(Math.abs(accuracy.perRun[0] - score.rightBird.f1.value)).toBeLessThanOrEqual(2 / score.counts.taggedLabels);
    expect(accuracy.calls).toBeGreaterThan(score.counts.taggedLabels);
  }, 400_000);

  it('is left out when told, and names what is wrong in one line', () => {
    const asked = plan('asked.json', { room: 'crowded' });
    expect(runCli(['plan', asked, '--no-trial']).out).toContain('Accuracy: not tried.');
    for (const [trial, message] of [[{}, /trial: not one room/], [{ room: 'huge' }, /trial\.room: wrong value; got "huge"; expected one of easy, /], [{ room: 'easy', scene: 'x' }, /either scene \(a file\) or room/], [{ scene: 'gone.json' }, /gone\.json": no such file/]] as const) {
      const r = runCli(['plan', plan('wrong.json', trial)]);
      expect([r.status, r.out]).toEqual([1, '']);
      expect(r.err).toMatch(message);
      expect(r.err.trim().split('\n')).toHaveLength(1);
    }
  });
});

describe('volary clips', () => {
  const result = join(root, 'result');
  beforeAll(() => {
    mkdirSync(result);
    writeFileSync(join(root, 'red.wav'), buildWavFile({ sampleRateHz: 8000, encoding: 'pcm16' }, [makeNoise(16000, 1)]));
    writeFileSync(join(root, 'study.json'), JSON.stringify({ volary: 1, name: 'one', recorders: [{ name: '1' }], tracks: [{ bird: 'red', recorder: '1', files: [{ path: 'red.wav', channel: 1 }] }] }));
    writeFileSync(join(result, 'run.json'), JSON.stringify({ study: join(root, 'study.json') }));
    writeFileSync(join(result, 'clock.csv'), 'recorder,t_ref_s,offset_s,ppm,uncertainty_s\n');
    writeFileSync(join(result, 'calls.csv'), 'call_id,bird,onset_s,offset_s,onset_utc,probability,track,level_db,snr_db,peak_hz,overlaps,runner_up,runner_up_probability\n1,red,0.5,0.6,,0.95,red,,,,0,,\n2,red,1,1.1,,0.8,red,,,,0,,\n');
  });

  it('cuts what is sure enough, found by run.json', () => {
    const out = join(root, 'clips');
    expect(runCli(['clips', result, '--out', out])).toMatchObject({ status: 0, out: `1 clips in ${out} (red 1)\n` });
    expect(readdirSync(join(out, 'red'))).toEqual(['red-000001.wav']);
    expect(JSON.parse(runCli(['clips', result, '--out', out, '--threshold', '0', '--force', '--json', '--study', join(root, 'study.json')]).out)).toMatchObject({ clips: 2, birds: { red: 2 } });
  });

  it('cuts no calls of one study from the recordings of another', () => {
    const run = join(result, 'run.json'), before = readFileSync(run, 'utf8');
    writeFileSync(run, JSON.stringify({ study: join(root, 'study.json'), inputs: [{ path: 'red.wav', sizeBytes: 4, sha256Ends: '0' }] }));
    const { status, err } = runCli(['clips', result, '--out', join(root, 'x')]);
    writeFileSync(run, before);
    expect(err).toMatch(/the calls were found in other recordings: "red\.wav" has another length/);
    expect([status, existsSync(join(root, 'x'))]).toEqual([1, false]);
  });

  it.each<[string, string[], number, RegExp]>([
    ['no folder to write to', [], 2, /--out/],
    ['a bird that is not there', ['--out', join(root, 'x'), '--birds', 'red,pink'], 2, /--birds: no such bird; got "pink"; expected "red"/],
    ['an empty name', ['--out', join(root, 'x'), '--birds', 'red,'], 2, /names with commas/],
    ['a margin below zero', ['--out', join(root, 'x'), '--margin', '-1'], 2, /from 0 to 60/],
    ['none at most', ['--out', join(root, 'x'), '--most', '0'], 2, /at least 1/],
    ['the result folder', ['--out', result], 2, /is the result folder itself/],
    ['a study that is not there', ['--out', join(root, 'x'), '--study', join(root, 'gone.json')], 1, /no such file/],
  ])('refuses %s and writes nothing', (_, args, status, message) => {
    const run = runCli(['clips', result, ...args]);
    expect([run.status, run.out]).toEqual([status, '']);
    expect(run.err).toMatch(message);
    expect(run.err.trim().split('\n')).toHaveLength(1);
    expect([existsSync(join(root, 'x')), existsSync(join(result, 'regions.csv'))]).toEqual([false, false]);
  });
});
