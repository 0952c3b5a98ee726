import { closeSync, ftruncateSync, openSync, readFileSync, rmSync, statSync, writeFileSync, writeSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { buildWavHeader, buildWavTrailer, encodeFrames } from '../../src/audio/wav-writer.js';
import { drawRandomScene } from '../../src/simulate/random-scene.js';
import { simulateScene } from '../../src/simulate/simulate-scene.js';
import type { TruthRow } from '../../src/simulate/truth.js';
import { newFolder, startCli } from './run-cli.js';

const folder = newFolder();
const RATE_HZ = 48000, TRACKS = 8, FRAME_BYTES = 2 * TRACKS;
/** Hops and cells lie the same way around all multiples of this, so that the same sound gives the same rows. */
const GRID_SEC = 120;
const EARLY_SEC = GRID_SEC;
const LATE_SEC = Math.ceil(2 ** 32 / FRAME_BYTES / RATE_HZ / GRID_SEC) * GRID_SEC;
const FRAMES = (LATE_SEC + 90) * RATE_HZ;
/**
 * README states 600 MiB for 8 tracks and two workers. Twenty busy minutes with their context add about 120 MiB in the main thread (measured, see
 * bench/NOTES.md), which this study does not have.
 */
const MOST_MIB = 480;

let truth: TruthRow[] = [];
let isSparse = false;

/** One RF64 file of silence that takes no room on the disk, with the same half minute of sound near its start and beyond 4 GiB. */
function writeStudy(): string {
  const scene = drawScene();
  const simulated = simulateScene({ ...scene, durationSec: 30, sampleRateHz: RATE_HZ }, 7001);
  truth = simulated.truth;
  const sound = encodeFrames(simulated.tracks.map((t) => t.samples), 'pcm16');
  const spec = { sampleRateHz: RATE_HZ, encoding: 'pcm16' as const, channelCount: TRACKS, frameCount: FRAMES };
  const header = buildWavHeader(spec);
  const path = join(folder, 'all.wav');
  const file = openSync(path, 'w');
  writeSync(file, header);
  ftruncateSync(file, header.length + FRAMES * FRAME_BYTES + buildWavTrailer(spec).length);
  isSparse = (statSync(path).blocks ?? Infinity) * 512 < 2 ** 27;
  for (const sec of isSparse ? [EARLY_SEC, LATE_SEC] : []) writeSync(file, sound, 0, sound.length, header.length + sec * RATE_HZ * FRAME_BYTES);
  closeSync(file);
  const study = join(folder, 'study.json');
  writeFileSync(study, JSON.stringify({
    volary: 1, name: 'sparse', recorders: [{ name: '1' }],
    tracks: simulated.tracks.map((t, c) => ({ bird: t.bird, recorder: '1', files: [{ path: 'all.wav', channel: c + 1 }] })),
  }));
  return study;
}

/** Eight tagged birds with a call a second between them. */
function drawScene() {
  const scene = drawRandomScene(7001, 'normal');
  const tagged = scene.birds!.filter((b) => b.tagged);
  const birds = Array.from({ length: TRACKS }, (_, k) => ({ ...tagged[k % tagged.length], name: `B${k + 1}`, callsPerMin: 60 / TRACKS }));
  return { ...scene, birds, recorders: scene.recorders!.slice(0, 1), link: { ...scene.link, breakthrough: [] } };
}

interface Row { bird: string; onsetSec: number; offsetSec: number }

function readCalls(path: string): Row[] {
  const [head, ...lines] = readFileSync(path, 'utf8').trim().split(/\r?\n/).map((l) => l.split(','));
  const at = (name: string): number => head.indexOf(name);
  return lines.map((f) => ({ bird: f[at('bird')], onsetSec: Number(f[at('onset_s')]), offsetSec: Number(f[at('offset_s')]) }));
}

let study = '';
beforeAll(() => { study = writeStudy(); });
afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe('a study of more than 4 GiB', () => {
  it('gives the right calls at the right times beyond 4 GiB, in bounded memory', async (context) => {
    if (!isSparse) return context.skip('this file system stores holes: 4.5 GB would be written');
    const out = join(folder, 'result');
    let peakMib = 0;
    const status = await new Promise<number | null>((resolve) => {
      const child = startCli(['attribute', study, '--out', out, '--workers', '2']);
      child.stdout.resume();
      child.stderr.resume();
      const timer = setInterval(() => {
        try { peakMib = Math.max(peakMib, Number(/^VmHWM:\s+(\d+)/m.exec(readFileSync(`/proc/${child.pid}/status`, 'utf8'))?.[1] ?? 0) / 1024); } catch { /* no such thing here */ }
      }, 50);
      child.on('exit', (code) => { clearInterval(timer); resolve(code); });
    });
    expect(status).toBe(0);
    const calls = readCalls(join(out, 'calls.csv'));
    const early = calls.filter((c) => c.onsetSec < LATE_SEC / 2), late = calls.filter((c) => c.onsetSec >= LATE_SEC / 2);
    expect((LATE_SEC * RATE_HZ) * FRAME_BYTES).toBeGreaterThan(2 ** 32);
    // Right as such scenes are elsewhere: simulated scenes of this preset reach .96 (README); here are few calls.
    const right = early.filter((c) => truth.some((t) => t.bird === c.bird && Math.abs(t.onsetSec + EARLY_SEC - c.onsetSec) < 0.05)).length;
    expect(truth.length).toBeGreaterThan(15);
    expect((2 * right) / (early.length + truth.length)).toBeGreaterThan(0.85);
    // The same beyond 4 GiB, but for the last digit of times.
    expect(late.map((c) => c.bird)).toEqual(early.map((c) => c.bird));
    late.forEach((c, k) => {
      expect(Math.abs(c.onsetSec - early[k].onsetSec - (LATE_SEC - EARLY_SEC))).toBeLessThan(2e-4);
      expect(Math.abs(c.offsetSec - early[k].offsetSec - (LATE_SEC - EARLY_SEC))).toBeLessThan(2e-4);
    });
    if (process.platform === 'linux') {
      expect(peakMib).toBeGreaterThan(50);
      expect(peakMib).toBeLessThan(MOST_MIB);
    }
  }, 600_000);
});
