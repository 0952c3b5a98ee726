import { spawnSync } from 'node:child_process';
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { makeNoise, makeWav } from '../study/make-wav.js';
import { MAIN, newFolder, runCli, startCli } from './run-cli.js';

const commandNames = [...runCli(['--help']).out.matchAll(/^ {2}([a-z]+)(?: \[options\])? </gm)].map((m) => m[1]);

describe('command line', () => {
  it('prints its version, which is that of the package', () => {
    const { version } = JSON.parse(readFileSync(new URL('../../package.json', import.meta.url), 'utf8'));
    expect(runCli(['--version'])).toEqual({ status: 0, out: `${version}\n`, err: '' });
  });

  it('knows the commands of the main job', () => {
    expect(commandNames).toEqual(expect.arrayContaining(['draft', 'check']));
  });

  it.each(commandNames)('%s --help has an example that starts as one types it', (name) => {
    const r = runCli([name, '--help']);
    expect([r.status, r.err]).toEqual([0, '']);
    expect(r.out).toMatch(new RegExp(`\\nExamples?:\\n  volary ${name} `));
  });

  it.each([
    [[], /Usage: volary/],
    [['frobnicate'], /^volary: unknown command 'frobnicate'.*see 'volary --help'\n$/],
    [['--frob'], /^volary: unknown option '--frob'.*\n$/],
    [['chek', 'x'], /unknown command 'chek' \(Did you mean check\?\)/],
    [['draft'], /^volary draft: missing required argument 'folder'; see 'volary draft --help'\n$/],
    [['draft', 'x', 'y'], /^volary draft: too many arguments/],
    [['check', 'x', '--frob'], /^volary check: unknown option '--frob'/],
    [['draft', 'x', '--utc-offset', 'noon'], /^volary draft: .*expected an offset such as \+02:00; see/],
    [['draft', 'x', '-o'], /^volary draft: .*argument missing/],
  ])('%j is wrong use: status 2, one line on standard error, nothing on standard output', (args, pattern) => {
    const r = runCli(args);
    expect(r.status).toBe(2);
    expect(r.out).toBe('');
    expect(r.err).toMatch(pattern);
    if (args.length > 0) expect(r.err.trimEnd().split('\n')).toHaveLength(1);
  });

  it.each([
    [['check', 'no such.json'], '"no such.json": no such file; write one with'],
    [['draft', 'no such folder'], '"no such folder": no such folder'],
    [['check', '.'], '".": is not a file; got a folder'],
  ])('%j fails with status 1 and one line', (args, part) => {
    const r = runCli(args, { cwd: newFolder() });
    expect(r.status).toBe(1);
    expect(r.err).toContain(`volary ${args[0]}: ${part}`);
    expect(r.err.trimEnd().split('\n')).toHaveLength(1);
    expect(runCli(args, { cwd: newFolder(), env: { VOLARY_TRACE: '1' } }).err).toMatch(/\n\s+at /);
  });

  it.skipIf(process.platform === 'win32')('goes on when nobody reads its output any more (skipped on Windows, which has no such shell)', () => {
    const folder = newFolder();
    writeFileSync(join(folder, 'a.wav'), makeWav([makeNoise(4000, 1)], 8000));
    const r = spawnSync('sh', ['-c', `"${process.execPath}" "${MAIN}" draft . -o study.json | true; "${process.execPath}" "${MAIN}" check study.json --picture p.svg 2>err | head -c 1; cat err`], { cwd: folder, encoding: 'utf8' });
    expect(r.stderr).toBe('');
    expect(r.stdout).toBe('bvolary check: wrote "p.svg"\n');
    expect(readFileSync(join(folder, 'p.svg'), 'utf8')).toMatch(/<\/svg>\n$/);
  });

  it.skipIf(process.platform === 'win32')('ends cleanly on Ctrl-C: status 130, one line, no half file (skipped on Windows, which has no signals)', async () => {
    const folder = newFolder();
    const seconds = makeNoise(8000 * 60, 2);
    const files = Array.from({ length: 12 }, (_, i) => `b${i}.wav`);
    for (const f of files) writeFileSync(join(folder, f), makeWav([seconds], 8000));
    expect(runCli(['draft', '.'], { cwd: folder }).status).toBe(0);
    const manifest = JSON.parse(readFileSync(join(folder, 'study.json'), 'utf8'));
    // Hours of the same minute: long enough to be interrupted.
    for (const t of manifest.tracks) t.files = Array.from({ length: 600 }, (_, i) => ({ ...t.files[0], start_s: i * 60 }));
    writeFileSync(join(folder, 'study.json'), JSON.stringify(manifest));
    const child = startCli(['check', 'study.json', '--full'], folder);
    let err = '';
    child.stderr.on('data', (d) => {
      const isFirst = !err.includes('checking');
      err += d;
      if (isFirst && err.includes('checking')) child.kill('SIGINT');
    });
    const status = await new Promise((resolve) => child.on('exit', resolve));
    expect(status).toBe(130);
    expect(err.trimEnd().split('\n').at(-1)).toBe('volary check: interrupted');
    // Progress on a pipe: whole lines with share, speed and time left.
    expect(err.split('\n')[0]).toMatch(/^checking \d+ %, \d+(\.\d+)?x real time, .* left$/);
  });
});
