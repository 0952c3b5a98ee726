import { spawn } from 'node:child_process';
import { cpSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { buildWavFile } from '../../src/audio/wav-writer.js';
import { drawRandomScene } from '../../src/simulate/random-scene.js';
import { simulateScene } from '../../src/simulate/simulate-scene.js';

const main = fileURLToPath(new URL('../../dist/cli/main.js', import.meta.url));
const folder = mkdtempSync(join(tmpdir(), 'volary-resume-'));
const study = join(folder, 'study.json');
const TABLES = ['calls.csv', 'sounds.csv', 'clock.csv', 'tracks.csv', 'calls.parquet', 'run.json'];

/** Runs `attribute`; killed with SIGKILL once `killWhen` says so. */
function attribute(out: string, args: string[], killWhen?: () => boolean): Promise<{ status: number | null; notes: string }> {
  return new Promise((resolve) => {
    const child = spawn(process.execPath, [main, 'attribute', study, '--out', out, ...args], { stdio: ['ignore', 'ignore', 'pipe'] });
    let notes = '';
    child.stderr.on('data', (d: Buffer) => { notes += String(d); });
    const timer = killWhen ? setInterval(() => { if (killWhen()) child.kill('SIGKILL'); }, 5) : undefined;
    child.on('exit', (status) => { clearInterval(timer); resolve({ status, notes }); });
  });
}

function countParts(out: string): number {
  try {
    return readdirSync(join(out, 'unfinished')).filter((n) => n.endsWith('.part')).length;
  } catch {
    return 0;
  }
}

function readTables(out: string): Buffer[] {
  // The result's own folder is named in run.json.
  return TABLES.map((name) => (name === 'run.json' ? Buffer.from(readFileSync(join(out, name), 'utf8').replace(/"folder": .*/, '')) : readFileSync(join(out, name))));
}

beforeAll(() => {
  const scene = { ...drawRandomScene(5101, 'easy'), durationSec: 24 };
  const simulated = simulateScene(scene, 5101);
  for (const t of simulated.tracks) {
    // Repeated to 4 minutes, so that there are several blocks of work to save.
    const samples = new Float32Array(t.samples.length * 10);
    for (let k = 0; k < 10; k++) samples.set(t.samples, k * t.samples.length);
    writeFileSync(join(folder, `${t.bird}.wav`), buildWavFile({ sampleRateHz: simulated.sampleRateHz, encoding: 'pcm16' }, [samples]));
  }
  writeFileSync(study, JSON.stringify({
    volary: 1, name: 'resume', recorders: [{ name: '1' }],
    tracks: simulated.tracks.map((t) => ({ bird: t.bird, recorder: '1', files: [{ path: `${t.bird}.wav`, channel: 1 }] })),
  }));
});

afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe('attribute, stopped and started again', () => {
  it('ends with the same bytes as an undisturbed run, with other workers and a damaged piece of finished work', async () => {
    const whole = join(folder, 'whole');
    expect((await attribute(whole, ['--workers', '2'])).status).toBe(0);
    const wanted = readTables(whole);
    const out = join(folder, 'killed');
    const killed = await attribute(out, ['--workers', '1'], () => countParts(out) >= 2);
    expect(killed.status).toBe(null);
    cpSync(out, join(folder, 'kept'), { recursive: true });
    const parts = readdirSync(join(out, 'unfinished')).filter((n) => n.endsWith('.part')).sort();
    expect(parts.length).toBeGreaterThanOrEqual(2);
    const path = join(out, 'unfinished', parts[0]);
    const text = readFileSync(path, 'utf8');
    const middle = text.length >> 1;
    writeFileSync(path, `${text.slice(0, middle)}${text[middle] === '7' ? '3' : '7'}${text.slice(middle + 1)}`);
    const again = await attribute(out, ['--workers', '2']);
    expect(again.notes).toContain('going on where an earlier run stopped');
    expect(again.status).toBe(0);
    expect(readTables(out)).toEqual(wanted);
    expect(readdirSync(out)).not.toContain('unfinished');
  });

  it('refuses work that was done with other settings, naming what differs, and starts anew when told', async () => {
    const kept = join(folder, 'kept');
    const refused = await attribute(kept, ['--max-offset', '10']);
    expect(refused.notes).toMatch(/maxOffsetSec differs; got 60; expected 10; use --force/);
    expect(refused.status).toBe(1);
    expect(refused.notes).not.toContain('    at ');
    expect((await attribute(kept, ['--max-offset', '10', '--force'])).status).toBe(0);
  });
});
