import { spawnSync } from 'node:child_process';
import { copyFileSync, mkdirSync, readFileSync, symlinkSync, writeFileSync, readdirSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { makeNoise, makeWav } from '../study/make-wav.js';
import { newFolder, runCli } from './run-cli.js';

const RATE = 8000;

function writeTrack(folder: string, name: string, seed: number, sec = 3, change?: (x: Float32Array) => void): void {
  const samples = makeNoise(Math.round(sec * RATE), seed, 0.02);
  for (let i = 1; i < samples.length; i++) samples[i] += 0.8 * samples[i - 1];
  change?.(samples);
  writeFileSync(join(folder, name), makeWav([samples], RATE));
}

function makeStudy(change?: (x: Float32Array) => void): string {
  const folder = newFolder();
  writeTrack(folder, 'red.wav', 1, 3, change);
  writeTrack(folder, 'blue.wav', 2);
  return folder;
}

const readJson = (folder: string, name: string) => JSON.parse(readFileSync(join(folder, name), 'utf8'));

describe('draft', () => {
  it('writes a study next to the recordings or elsewhere, with paths that hold', () => {
    const folder = makeStudy();
    mkdirSync(join(folder, 'plans'));
    const r = runCli(['draft', '.', '-o', 'plans/may.json', '--name', 'May'], { cwd: folder });
    expect([r.status, r.err]).toEqual([0, '']);
    expect(r.out).toContain('wrote "plans/may.json": 2 birds, 1 recorder, 2 files, 3 s at 8000 Hz');
    expect(r.out).toContain('volary check plans/may.json');
    expect(readJson(folder, 'plans/may.json')).toEqual({
      volary: 1, name: 'May', recorders: [{ name: 'recorder-1' }],
      tracks: [{ bird: 'blue', recorder: 'recorder-1', files: [{ path: '../blue.wav', channel: 1 }] }, { bird: 'red', recorder: 'recorder-1', files: [{ path: '../red.wav', channel: 1 }] }],
    });
    expect(runCli(['check', 'plans/may.json'], { cwd: folder }).status).toBe(0);
  });

  it('does not replace a study unless told, and leaves nothing but the study', () => {
    const folder = makeStudy();
    expect(runCli(['draft', '.'], { cwd: folder }).status).toBe(0);
    const again = runCli(['draft', '.'], { cwd: folder });
    expect([again.status, again.err]).toEqual([1, 'volary draft: "study.json": is there already; choose another place or add --force\n']);
    expect(runCli(['draft', '.', '--force'], { cwd: folder }).status).toBe(0);
    expect(readdirSync(folder).sort()).toEqual(['blue.wav', 'red.wav', 'study.json']);
  });

  it('names each file that cannot be used in one line and keeps the rest', () => {
    const folder = makeStudy();
    writeFileSync(join(folder, 'text.wav'), 'this is no sound');
    writeFileSync(join(folder, 'empty.wav'), '');
    writeFileSync(join(folder, 'fast.wav'), makeWav([makeNoise(RATE, 3)], 2 * RATE));
    writeFileSync(join(folder, 'notes.txt'), 'RIFF?');
    writeFileSync(join(folder, '._red.wav'), 'side file');
    copyFileSync(join(folder, 'red.wav'), join(folder, 'no extension'));
    const r = runCli(['draft', '.'], { cwd: folder });
    expect(r.status).toBe(0);
    const lines = r.err.trimEnd().split('\n');
    expect(lines).toHaveLength(3);
    for (const [name, reason] of [['text.wav', 'not a sound file'], ['empty.wav', 'empty'], ['fast.wav', 'has 16000 Hz; expected 8000 Hz']]) {
      expect(lines.some((l) => l.startsWith('volary draft: cannot use ') && l.includes(`"${name}"`) && l.includes(reason)), `${name} in ${r.err}`).toBe(true);
    }
    expect(readJson(folder, 'study.json').tracks.map((t: { bird: string }) => t.bird)).toEqual(['blue', 'no extension', 'red']);
  });

  it('fails where nothing can be used, and writes nothing', () => {
    const folder = newFolder();
    writeFileSync(join(folder, 'a.wav'), 'no');
    const r = runCli(['draft', '.'], { cwd: folder });
    expect(r.status).toBe(1);
    expect(r.err).toContain('cannot use "a.wav"');
    expect(r.err).toContain('no sound file that can be used');
    expect(readdirSync(folder)).toEqual(['a.wav']);
  });

  it.skipIf(process.platform === 'win32')('ends in a folder of pipes and circles of links (skipped on Windows, which has no pipes as files)', () => {
    const folder = makeStudy();
    mkdirSync(join(folder, 'sub'));
    symlinkSync('..', join(folder, 'sub', 'up'));
    symlinkSync('self.wav', join(folder, 'self.wav'));
    symlinkSync('nowhere', join(folder, 'lost.wav'));
    expect(spawnSync('mkfifo', [join(folder, 'pipe.wav'), join(folder, 'channels.csv')]).status).toBe(0);
    const r = runCli(['draft', '.'], { cwd: folder });
    expect(r.status).toBe(0);
    for (const part of ['"self.wav": its links lead in a circle', '"lost.wav": is a link to nothing', '"pipe.wav": is no regular file']) expect(r.err).toContain(part);
    expect(readJson(folder, 'study.json').tracks.map((t: { bird: string }) => t.bird)).toEqual(['blue', 'red']);
  });

  it('works with any name', () => {
    const folder = newFolder();
    const names = ['-x', 'a b', 'Zilpzalp ♂', process.platform === 'win32' ? 'c' : 'line\nend', "it's"];
    names.forEach((n, i) => writeTrack(folder, `${n}.wav`, i));
    const r = runCli(['draft', '.', '--json'], { cwd: folder });
    expect(r.status).toBe(0);
    expect(JSON.parse(r.out).recorders[0].birds.sort()).toEqual([...names].sort());
    const check = runCli(['check', 'study.json', '--picture', 'p.svg'], { cwd: folder });
    expect([check.status, check.err]).toEqual([0, 'volary check: wrote "p.svg"\n']);
    for (const n of names) expect(readFileSync(join(folder, 'p.svg'), 'utf8')).toContain(n);
  });

  it('reads channels.csv and broadcast times', () => {
    const folder = newFolder();
    const bext = (sec: number) => ({ date: '2024-05-01', time: '06:00:00'.replace('00:00', `00:0${sec}`), samples: (6 * 3600 + sec) * RATE });
    for (const [name, start, seed] of [['m1', 0, 1], ['m2', 2, 2]] as const) writeFileSync(join(folder, `${name}.wav`), makeWav([makeNoise(2 * RATE, seed), makeNoise(2 * RATE, seed + 5)], RATE, bext(start)));
    writeFileSync(join(folder, 'channels.csv'), 'file,bird,recorder,channel\nm1.wav,red,east,1\nm1.wav,blue,east,2\nm2.wav,red,east,1\nm2.wav,blue,east,2\n');
    const r = runCli(['draft', '.', '--utc-offset', '+01:00', '--json'], { cwd: folder });
    expect(JSON.parse(r.out)).toMatchObject({ start: '2024-05-01T05:00:00Z', duration_s: 4, recorders: [{ name: 'east', birds: ['red', 'blue'] }], gaps: 0, overlaps: 0, notes: [], unusable: [] });
  });
});

describe('check', () => {
  const check = (folder: string, more: string[] = []) => runCli(['check', 'study.json', ...more], { cwd: folder });
  const draft = (folder: string) => expect(runCli(['draft', '.'], { cwd: folder }).status).toBe(0);
  const kinds = (json: string): string[] => JSON.parse(json).problems.map((p: { severity: string; kind: string; bird?: string }) => `${p.severity} ${p.kind} ${p.bird ?? ''}`.trim());

  it('says nothing against sound tracks', () => {
    const folder = makeStudy();
    draft(folder);
    const r = check(folder);
    expect([r.status, r.err]).toEqual([0, '']);
    expect(r.out).toMatch(/^bird +recorder +format[^]*\nblue +recorder-1 +RIFF 16 bit [^]* fit\n[^]*read every sample of 3 s\nfit to use\n$/);
    expect(kinds(check(folder, ['--json']).out)).toEqual([]);
  });

  it('shows a warning and still calls the study fit', () => {
    const folder = makeStudy((x) => x.fill(0, 4000, 9000));
    draft(folder);
    const r = check(folder);
    expect(r.status).toBe(0);
    expect(r.out).toMatch(/\nwarning: "red": digital silence in 21 % of what was read, longest 0.6[23] s\n[^]*\nfit to use, 1 warning worth a look\n$/);
  });

  it('calls a study with an unreadable track not fit, and still shows the others', () => {
    const folder = makeStudy();
    draft(folder);
    writeFileSync(join(folder, 'red.wav'), 'hello');
    const r = check(folder);
    expect(r.status).toBe(1);
    expect(r.out).toMatch(/\nblue +recorder-1 [^]*error: "red.wav": not a sound file[^]*\nnot fit to use: 2 errors, 1 warning worth a look\n$/);
  });

  it('does not replace a picture unless told', () => {
    const folder = makeStudy();
    draft(folder);
    writeFileSync(join(folder, 'p.svg'), 'mine');
    expect(check(folder, ['--picture', 'p.svg']).status).toBe(1);
    expect(readFileSync(join(folder, 'p.svg'), 'utf8')).toBe('mine');
    expect(check(folder, ['--picture', 'p.svg', '--force']).status).toBe(0);
  });

  it('names the place of a mistake in the study', () => {
    const folder = makeStudy();
    draft(folder);
    writeFileSync(join(folder, 'study.json'), readFileSync(join(folder, 'study.json'), 'utf8').replace('"channel": 1', '"channel": "left"'));
    const r = check(folder);
    expect(r).toEqual({ status: 1, out: '', err: 'volary check: "study.json": tracks[0].files[0].channel: wrong value; got "left"; expected a whole number\n' });
  });
});
