import { spawnSync } from 'node:child_process';
import { createRequire } from 'node:module';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { expect, it } from 'vitest';

it('tests fit the types of what they test: a field that is no longer read is an error here', () => {
  const compiler = createRequire(import.meta.url).resolve('typescript/bin/tsc');
  const { stdout, status } = spawnSync(process.execPath, [compiler, '-p', join(dirname(fileURLToPath(import.meta.url)), 'tsconfig.json')], { encoding: 'utf8' });
  expect(stdout).toBe('');
  expect(status).toBe(0);
}, 300_000);
