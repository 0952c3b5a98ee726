import { spawn, spawnSync } from 'node:child_process';
import { mkdtempSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';

export const MAIN = fileURLToPath(new URL('../../dist/cli/main.js', import.meta.url));

export interface CliResult { status: number | null; out: string; err: string }

/** Runs the built program and waits for it. */
export function runCli(args: string[], options: { cwd?: string; env?: Record<string, string>; timeoutMs?: number } = {}): CliResult {
  const r = spawnSync(process.execPath, [MAIN, ...args], { cwd: options.cwd, env: { ...process.env, VOLARY_TRACE: '', ...options.env }, encoding: 'utf8', timeout: options.timeoutMs ?? 60_000 });
  if (r.error) throw r.error;
  return { status: r.status, out: r.stdout, err: r.stderr };
}

/** Starts the built program. */
export function startCli(args: string[], cwd?: string) {
  return spawn(process.execPath, [MAIN, ...args], { cwd, env: { ...process.env, VOLARY_TRACE: '' }, stdio: ['ignore', 'pipe', 'pipe'] });
}

export function newFolder(): string {
  return mkdtempSync(join(tmpdir(), 'volary-'));
}
