import { spawnSync } from 'node:child_process';
import { chmodSync, mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { delimiter, dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { MAIN, newFolder } from './run-cli.js';
import { attributeUntil, readResult, writeShortStudy } from './stopped-study.js';

const page = readFileSync(fileURLToPath(new URL('../../docs/cluster.md', import.meta.url)), 'utf8');
const folder = newFolder();
const env = { ...process.env, PATH: `${join(folder, 'bin')}${delimiter}${process.env.PATH}`, HOME: folder, XDG_CACHE_HOME: join(folder, 'cache') };
let wanted: Record<string, string> = {};

const has = (name: string): boolean => process.platform !== 'win32' && !spawnSync(name, ['--version']).error;

/** The block of code below a heading of the page, for a study of two parts instead of forty. */
function readRecipe(heading: string): string {
  const section = page.split(/^## /m).find((s) => s.startsWith(`${heading}\n`))!;
  const code = /(?:^(?: {4}.*|[ \t]*)\n)+/gm;
  const block = [...section.matchAll(code)].map((m) => m[0]).find((t) => t.trim() !== '')!;
  return block.replace(/^ {4}/gm, '').replace(/\b40\b/g, '2').replace(/\b41\b/g, '3').trimStart();
}

beforeAll(async () => {
  const study = writeShortStudy(folder);
  expect((await attributeUntil(study, join(folder, 'whole'), ['--workers', '1'])).status).toBe(0);
  wanted = readResult(join(folder, 'whole'));
  mkdirSync(join(folder, 'bin'));
  const program = join(folder, 'bin', 'volary');
  writeFileSync(program, `#!/bin/sh\nexec "${process.execPath}" "${MAIN}" "$@"\n`);
  chmodSync(program, 0o755);
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

function runRecipe(file: string, text: string, command: string[]): void {
  const path = join(folder, file);
  writeFileSync(path, text);
  const r = spawnSync(command[0], command.slice(1), { cwd: dirname(path), env, encoding: 'utf8', timeout: 300_000 });
  expect(r.status, `${r.stdout}\n${r.stderr}`).toBe(0);
  expect(readResult(join(folder, 'result'))).toEqual(wanted);
  rmSync(join(folder, 'result'), { recursive: true });
  rmSync(join(folder, 'marks'), { recursive: true, force: true });
}

describe('the recipes of the page on several machines give the bytes of an undivided run', () => {
  it.skipIf(!has('parallel'))('GNU parallel (skips where it is not installed)', () => runRecipe('run.sh', `set -e\n${readRecipe('GNU parallel')}`, ['sh', 'run.sh']), 320_000);
  it.skipIf(!has('xargs'))('xargs (skips where it is not installed)', () => runRecipe('run.sh', `set -e\n${readRecipe('xargs')}`, ['sh', 'run.sh']), 320_000);
  it.skipIf(!has('make'))('make (skips where it is not installed)', () => runRecipe('Makefile', readRecipe('Make'), ['make', '-j', '2']), 320_000);
  it.skipIf(!has('snakemake'))('Snakemake (skips where it is not installed)', () => runRecipe('Snakefile', readRecipe('Snakemake'), ['snakemake', '--cores', '2']), 320_000);
});
