import { spawn } from 'node:child_process';
import { readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
import { buildWavFile } from '../../src/audio/wav-writer.js';
import { drawRandomScene } from '../../src/simulate/random-scene.js';
import { simulateScene } from '../../src/simulate/simulate-scene.js';
import { MAIN } from './run-cli.js';

const PRELOAD = pathToFileURL(join(import.meta.dirname, 'end-at-event.mjs')).href;

/** A study of two birds that is quick to attribute and yet has two pieces of everything: sound at both ends of two minutes and a bit, and the first call alone in every cell between, so that each is a job. */
export function writeShortStudy(folder: string): string {
  const seconds = 130;
  const scene = { ...drawRandomScene(5101, 'easy'), durationSec: 12 };
  const simulated = simulateScene(scene, 5101);
  const firstFrame = Math.round(Math.max(0, Math.min(...simulated.truth.map((c) => c.onsetSec)) - 0.2) * simulated.sampleRateHz);
  for (const t of simulated.tracks) {
    const samples = new Float32Array(seconds * simulated.sampleRateHz);
    const little = t.samples.subarray(firstFrame, firstFrame + simulated.sampleRateHz);
    for (let sec = 14; sec < seconds - 14; sec += 10) samples.set(little, sec * simulated.sampleRateHz);
    samples.set(t.samples);
    samples.set(t.samples, samples.length - t.samples.length);
    writeFileSync(join(folder, `${t.bird}.wav`), buildWavFile({ sampleRateHz: simulated.sampleRateHz, encoding: 'pcm16' }, [samples]));
  }
  const study = join(folder, 'study.json');
  writeFileSync(study, JSON.stringify({
    volary: 1, name: 'stopped', recorders: [{ name: '1' }],
    tracks: simulated.tracks.map((t) => ({ bird: t.bird, recorder: '1', files: [{ path: `${t.bird}.wav`, channel: 1 }] })),
  }));
  return study;
}

export interface Ended { status: number | null; signal: NodeJS.Signals | null; notes: string }

/** Runs `attribute`; killed at its event number `endAt`. */
export function attributeUntil(study: string, out: string, args: string[], endAt?: number, more: Record<string, string> = {}): Promise<Ended> {
  return runUntil(['attribute', study, '--out', out, ...args], endAt, more);
}

/** Runs a command; killed at its event number `endAt`. */
export function runUntil(args: string[], endAt?: number, more: Record<string, string> = {}): Promise<Ended> {
  const env = { ...process.env, VOLARY_TRACE: '', END_AT: String(endAt ?? Infinity), ...more };
  return new Promise((resolve) => {
    const child = spawn(process.execPath, ['--import', PRELOAD, MAIN, ...args], { stdio: ['ignore', 'ignore', 'pipe'], env });
    let notes = '';
    child.stderr.on('data', (d: Buffer) => { notes += String(d); });
    child.on('close', (status, signal) => resolve({ status, signal, notes }));
  });
}

/** How many events an undisturbed run has. */
export function countEvents(study: string, out: string, args: string[]): Promise<number> {
  return countRunEvents(['attribute', study, '--out', out, ...args], `${out}.count`);
}

/** How many events an undisturbed run of a command has. @param countFile a name that is free */
export async function countRunEvents(args: string[], countFile: string): Promise<number> {
  const { status, notes } = await runUntil(args, undefined, { COUNT_FILE: countFile });
  if (status !== 0) throw new Error(`an undisturbed run ended with ${status}: ${notes}`);
  const count = Number(readFileSync(countFile, 'utf8'));
  rmSync(countFile);
  return count;
}

/** All that lies in a result folder. */
export function readResult(out: string): Record<string, string> {
  return Object.fromEntries(readdirSync(out, { withFileTypes: true }).map((e) => [e.name, e.isFile() ? readFileSync(join(out, e.name), 'latin1') : 'a folder']));
}
