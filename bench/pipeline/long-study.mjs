// Memory and speed of `attribute` on a long study: one 8-track 16-bit WAV (RF64 beyond 4 GiB) that repeats a simulated minute, once or at the same hours of several days.
// node bench/pipeline/long-study.mjs [--hours 6] [--days 1] [--workers 2] [--seed 5007] [--keep]    The file lies below out/: 2.5 GB per hour.
import { spawn } from 'node:child_process';
import { closeSync, copyFileSync, linkSync, mkdirSync, openSync, readdirSync, readFileSync, rmSync, writeFileSync, writeSync } from 'node:fs';
import { cpus } from 'node:os';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { readOptions } from '../read-options.mjs';
import { buildWavHeader, buildWavTrailer, encodeFrames } from '../../dist/audio/wav-writer.js';
import { drawRandomScene } from '../../dist/simulate/random-scene.js';
import { simulateScene } from '../../dist/simulate/simulate-scene.js';

const { values } = readOptions({ options: {
  hours: { type: 'string', default: '6' }, days: { type: 'string', default: '1' }, workers: { type: 'string', default: '2' }, seed: { type: 'string', default: '5007' }, keep: { type: 'boolean', default: false },
} });
const root = join(dirname(fileURLToPath(import.meta.url)), '..', '..');
const folder = join(root, 'out', 'long-study');
const minutes = Math.max(1, Math.round(Number(values.hours) * 60)), days = Math.max(1, Math.round(Number(values.days)));

mkdirSync(folder, { recursive: true });
let recording;
try {
  recording = writeRecording();
} catch (error) {
  rmSync(folder, { recursive: true, force: true });
  process.stderr.write(`long: ${folder} cannot be written: ${error.message}; it takes 2.5 GB per hour, fewer go with --hours\n`);
  process.exit(1);
}
const { birds, sampleRateHz } = recording;
const study = join(folder, 'study.json');
writeFileSync(study, JSON.stringify({
  volary: 1, name: 'long study', recorders: [{ name: '1' }], tracks: birds.map((bird, c) => ({ bird, recorder: '1', files: Array.from({ length: days }, (_, d) => ({ path: nameDay(d), channel: c + 1, start_s: 86400 * d })) })),
}));
const result = join(folder, 'result');
rmSync(result, { recursive: true, force: true });
const began = performance.now();
const { status, peakBytes } = await runWatched([join(root, 'dist', 'cli', 'main.js'), 'attribute', study, '--out', result, '--workers', values.workers]);
const tookSec = (performance.now() - began) / 1000;
if (status !== 0) {
  process.stderr.write(`attribute ended with status ${status}\n`);
  process.exitCode = 1;
} else {
  const calls = readFileSync(join(result, 'calls.csv'), 'utf8').trim().split('\n').length - 1;
  process.stdout.write(`${JSON.stringify({
    tracks: birds.length, sampleRateHz, hours: minutes / 60, days, workers: Number(values.workers), calls, tookSec: Math.round(tookSec), timesRealTime: Number((((days - 1) * 86400 + minutes * 60) / tookSec).toFixed(1)), timesSound: Number(((days * minutes * 60) / tookSec).toFixed(1)),
    peakRssMb: peakBytes === undefined ? null : Math.round(peakBytes / 2 ** 20), machine: `${cpus().length} x ${cpus()[0].model}`, node: process.version,
  })}\n`);
}
if (!values.keep) rmSync(folder, { recursive: true, force: true });

/** Writes long.wav minute by minute. */
function writeRecording() {
  const seed = Number(values.seed);
  const scene = simulateScene({ ...drawRandomScene(seed, 'normal'), durationSec: 60 }, seed);
  const tracks = scene.tracks.slice(0, 8);
  // Fewer birds than eight are heard twice: the work is the same.
  while (tracks.length < 8) tracks.push({ ...tracks[tracks.length % scene.tracks.length], bird: `copy ${tracks.length + 1}` });
  const minute = encodeFrames(tracks.map((t) => t.samples), 'pcm16');
  const spec = { sampleRateHz: scene.sampleRateHz, encoding: 'pcm16', channelCount: 8, frameCount: tracks[0].samples.length * minutes };
  const file = openSync(join(folder, 'long.wav'), 'w');
  for (const part of [buildWavHeader(spec), ...Array(minutes).fill(minute), buildWavTrailer(spec)]) {
    for (let at = 0; at < part.length;) at += writeSync(file, part, at);
  }
  closeSync(file);
  for (let d = 1; d < days; d++) repeatDay(join(folder, nameDay(d)));
  return { birds: tracks.map((t) => t.bird), sampleRateHz: scene.sampleRateHz };
}

/** File of a day, counted from 0. */
function nameDay(day) {
  return day === 0 ? 'long.wav' : `long-${day + 1}.wav`;
}

/** The recording once more under another name; a copy where there are no links. */
function repeatDay(path) {
  rmSync(path, { force: true });
  try {
    linkSync(join(folder, 'long.wav'), path);
  } catch {
    copyFileSync(join(folder, 'long.wav'), path);
  }
}

/** Runs a program of Node; its largest resident memory and that of all it starts, summed, four times a second (where there is /proc). */
function runWatched(args) {
  return new Promise((resolve) => {
    const child = spawn(process.execPath, args, { stdio: ['ignore', 'inherit', 'inherit'] });
    let peakBytes;
    const timer = setInterval(() => {
      const now = sumTree(child.pid);
      if (now > 0) peakBytes = Math.max(peakBytes ?? 0, now);
    }, 250);
    child.on('exit', (status) => { clearInterval(timer); resolve({ status, peakBytes }); });
  });
}

function sumTree(root) {
  try {
    const parents = new Map(readdirSync('/proc').filter((n) => /^\d+$/.test(n)).map((pid) => [Number(pid), readStatus(pid, 'PPid')]));
    let bytes = 0;
    for (let level = [root]; level.length > 0; level = [...parents].filter(([, p]) => level.includes(p)).map(([pid]) => pid)) {
      for (const pid of level) bytes += 1024 * readStatus(pid, 'VmRSS');
    }
    return bytes;
  } catch {
    return 0;
  }
}

function readStatus(pid, field) {
  try {
    return Number(new RegExp(`^${field}:\\s+(\\d+)`, 'm').exec(readFileSync(`/proc/${pid}/status`, 'utf8'))?.[1] ?? 0);
  } catch {
    return 0;
  }
}
