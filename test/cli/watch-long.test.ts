import { spawn } from 'node:child_process';
import { mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { buildWavFile, encodeFrames } from '../../src/audio/wav-writer.js';
import { warningTable } from '../../src/live/warning-table.js';
import { simulateScene } from '../../src/simulate/simulate-scene.js';
import { parseCsv } from '../../src/table/csv-table.js';
import { makeScene } from '../browser/small-scene.js';
import { MAIN, newFolder, runCli } from './run-cli.js';

const folder = newFolder();
afterAll(() => rmSync(folder, { recursive: true, force: true }));
const at = (...parts: string[]): string => join(folder, ...parts);
const listRows = (text: string): string[] => text.split('\n').filter((l) => /^\d/.test(l));

/** Runs `watch` until it ends, or kills it once it has printed so many rows. */
function watch(args: string[], options: { input?: Uint8Array; killAfterRows?: number } = {}): Promise<{ status: number | null; out: string; err: string }> {
  return new Promise((resolve) => {
    const child = spawn(process.execPath, [MAIN, 'watch', ...args], { cwd: folder, stdio: ['pipe', 'pipe', 'pipe'] });
    const run = { out: '', err: '' };
    child.stdout.on('data', (d: Buffer) => {
      run.out += String(d);
      if (options.killAfterRows !== undefined && listRows(run.out).length >= options.killAfterRows) child.kill('SIGKILL');
    });
    child.stderr.on('data', (d: Buffer) => { run.err += String(d); });
    child.stdin.on('error', () => undefined);
    if (options.input) child.stdin.end(options.input);
    child.on('close', (status) => resolve({ ...run, status }));
  });
}

describe('watch, for minutes', () => {
  it('warns of a signal that falls and of a bird that falls silent, and of nothing else', async () => {
    // Long enough for well over the 15 medians of five sure calls that a fall at every step needs to be told (Kendall's test at 1e-6).
    const [withBlueSec, withoutSec] = [130, 130];
    const made = makeScene(withBlueSec, 1);
    // One kind of call, about equally loud: a fall of 12 dB in four minutes has to stand out of how loud calls differ.
    const finch = made.voices!.finch!;
    const calls = finch.calls!.filter((c) => c.name === 'distance').map((c): typeof c => ({ ...c, levelDb: [-1, 1] }));
    const scene = { ...made, voices: { finch: { ...finch, calls } }, calling: { replyProbability: 0, overlapShare: 0 } };
    const quiet = { ...scene, durationSec: withoutSec, birds: scene.birds!.map((b) => (b.name === 'blue' ? { ...b, callsPerMin: 0.01 } : b)) };
    const [before, after] = [simulateScene(scene, 21), simulateScene(quiet, 22)];
    expect(after.truth.filter((c) => c.bird === 'blue')).toEqual([]);
    const fs = before.sampleRateHz;
    const signals = before.tracks.map((t, j) => {
      const samples = new Float32Array(t.samples.length + after.tracks[j].samples.length);
      samples.set(t.samples);
      samples.set(after.tracks[j].samples, t.samples.length);
      // The transmitter of one bird loses 12 dB in all.
      if (t.bird === 'red') samples.forEach((v, n) => { samples[n] = v * 10 ** ((-12 * n) / samples.length / 20); });
      return samples;
    });
    const run = await watch(['--birds', before.tracks.map((t) => t.bird).join(','), '--rate', String(fs), '--encoding', 'pcm16', '--warm-up', '20', '--out', 'falling'], { input: encodeFrames(signals, 'pcm16') });
    expect(run.status).toBe(0);
    const warnings = parseCsv(warningTable, readFileSync(at('falling', 'warnings.csv'), 'utf8'), 'warnings');
    const first = (kind: string) => warnings.filter((w) => w.kind === kind)[0];
    expect([...new Set(warnings.map((w) => `${w.track} ${w.kind}`))].sort()).toEqual(['blue silent-bird', 'red falling-signal']);
    const told = /^falling signal: its own voice is (\d+\.\d) dB weaker than \d+ (s|min) before$/.exec(first('falling-signal').text);
    // What it lost up to then, but for the first and last medians of five calls, which lie inside the span.
    const lostDb = (12 * first('falling-signal').timeSec) / (withBlueSec + withoutSec);
    expect(Number(told?.[1])).toBeGreaterThan(lostDb - 2);
    expect(Number(told?.[1])).toBeLessThan(lostDb + 1);
    // A minute of silence at least; at its rate of half a call a second a minute is enough.
    const lastBlueSec = Math.max(...before.truth.filter((c) => c.bird === 'blue').map((c) => c.offsetSec));
    expect(first('silent-bird').timeSec).toBeGreaterThan(lastBlueSec + 60);
    expect(first('silent-bird').timeSec).toBeLessThan(lastBlueSec + 64);
    for (const w of warnings) expect(run.err).toContain(`${w.track}: ${w.text}`);
  // Minutes of sound on a machine that may be busy.
  }, 400_000);

  it('killed and started again with two recorders, ends with the same tables', async () => {
    const scene = simulateScene(makeScene(50, 2), 31);
    const recorders = [...new Set(scene.tracks.map((t) => t.recorder))];
    const wavs = recorders.map((r) => buildWavFile({ sampleRateHz: scene.sampleRateHz, encoding: 'pcm16' }, scene.tracks.filter((t) => t.recorder === r).map((t) => t.samples)));
    const write = (name: string, share: number): void => {
      mkdirSync(at(name), { recursive: true });
      // The second recorder is behind by a second and a half, in the middle of a frame.
      wavs.forEach((wav, k) => writeFileSync(at(name, `rec${k}.wav`), wav.subarray(0, share === 1 ? wav.length : Math.floor(wav.length * (share - 0.03 * k)) + k)));
      const tracks = scene.tracks.map((t) => {
        const own = scene.tracks.filter((o) => o.recorder === t.recorder);
        return { bird: t.bird, recorder: t.recorder, files: [{ path: `rec${recorders.indexOf(t.recorder)}.wav`, channel: own.indexOf(t) + 1 }] };
      });
      writeFileSync(at(name, 'study.json'), JSON.stringify({ volary: 1, name: 'two', recorders: recorders.map((r) => ({ name: r })), tracks }));
    };
    const args = (name: string): string[] => [`${name}/study.json`, '--warm-up', '20', '--max-offset', '3', '--out', `${name}-live`];
    write('whole', 1);
    expect(runCli(['watch', ...args('whole'), '--idle', '0.5'], { cwd: folder }).status).toBe(0);
    const wanted = readFileSync(at('whole-live', 'calls.csv'), 'utf8');
    expect(listRows(wanted).length).toBeGreaterThan(20);
    let out = '';
    // What is given late from the warm-up, one by one; then as the recording goes on.
    for (const [share, rows] of [[0.5, 1], [0.7, 2], [0.85, 1]] as const) {
      write('grown', share);
      const run = await watch(args('grown'), { killAfterRows: rows });
      expect(run.status).toBe(null);
      out += run.out;
    }
    write('grown', 1);
    const last = await watch([...args('grown'), '--idle', '0.5']);
    expect(last.status).toBe(0);
    expect(last.err).toMatch(/going on at \d+\.\d s/);
    expect(readFileSync(at('grown-live', 'calls.csv'), 'utf8')).toBe(wanted);
    expect(readFileSync(at('grown-live', 'warnings.csv'), 'utf8')).toBe(readFileSync(at('whole-live', 'warnings.csv'), 'utf8'));
    const printed = listRows(out + last.out);
    expect(new Set(printed).size).toBe(printed.length);
  }, 400_000);
});
