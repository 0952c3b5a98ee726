// The first look at 8 tracks: bytes to samples, band-pass, energy per hop, noise floor. Beside the same work in scipy, and beside sox and ffmpeg,
// which read the same file, apply the same two filters and measure levels.
import { spawnSync } from 'node:child_process';
import { closeSync, mkdtempSync, openSync, readSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { countSurveyBytes, designBand, SLOT_HOPS, SurveyKernels } from '../../dist/kernels/survey-kernels.js';
import { createKernels } from '../../dist/kernels/kernels.js';
import { loadKernelsFile } from '../../dist/node/kernels-file.js';
import { differenceOf, requireSame } from './compare.mjs';
import { takeTurns, timed } from './take-turns.mjs';

const RATE = 48000, TRACKS = 8, FFT = 512, HOP = 128, BAND = [400, 11000], SLOTS = 2813, EVERY = 2;
const SLOT = SLOT_HOPS * HOP, FRAMES = SLOTS * SLOT, HEADER_BYTES = 44;
// Recursive filters in f32, in another order of operations.
const ENERGY_TOLERANCE = 1e-3;
// The survey finds quantiles to a relative 2^-12.
const FLOOR_TOLERANCE = 2 ** -11;
// Commands print hundredths of a decibel.
const LEVEL_TOLERANCE_DB = 0.02;

export async function benchFirstPass({ python, rounds, tell }) {
  tell('first pass over 60 s of 8 tracks');
  const folder = mkdtempSync(join(tmpdir(), 'first-pass-'));
  try {
    const samples = makeSamples();
    const whole = join(folder, 'whole.wav'), start = join(folder, 'start.wav');
    writeFileSync(whole, wavBytes(samples));
    writeFileSync(start, wavBytes(samples.subarray(0, TRACKS * RATE)));
    const ours = await prepareSurvey(whole);
    const contenders = [ours.contender], difference = {};
    if (python) {
      const job = { tracks: TRACKS, hop: HOP, slotHops: SLOT_HOPS, n: FFT, every: EVERY, rank: ours.rank, filter: [...designBand(BAND, RATE)] };
      const values = await python.prepare('first-pass', samples, job);
      const energies = values.subarray(0, ours.energies.length), floors = values.subarray(ours.energies.length);
      difference['first-pass'] = requireSame('band energies of scipy', energies, ours.energies, ENERGY_TOLERANCE);
      requireRatio('noise floors of scipy', floors, ours.floors, FLOOR_TOLERANCE);
      contenders.push({ ...python.contender('first-pass'), name: 'scipy sosfilt' });
    }
    for (const command of [sox, ffmpeg]) {
      const peer = command(whole, start);
      const levels = peer.measure();
      if (!levels) { tell(`${peer.name}: absent, not compared`); continue; }
      const most = Math.max(...levels.map((x, t) => Math.abs(x - ours.levelsDb[t])));
      if (!(most <= LEVEL_TOLERANCE_DB)) throw new Error(`${peer.name}: levels ${levels} differ from ${ours.levelsDb} by more than ${LEVEL_TOLERANCE_DB} dB`);
      difference[peer.name] = most;
      contenders.push(peer);
    }
    const goals = { 'scipy sosfilt': 10, sox: 30, 'ffmpeg astats': 18 };
    return [{ case: 'first pass, 8 tracks', unit: 's of sound', perRun: FRAMES / RATE, times: await takeTurns(contenders, Math.min(rounds, 9)), difference, goals }];
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

/** Noise with a burst every second: 16 bit, interleaved. */
function makeSamples() {
  const samples = new Int16Array(TRACKS * FRAMES);
  let state = 1234567890;
  for (let i = 0; i < samples.length; i++) {
    state = (16807 * state) % 2147483647;
    const frame = Math.floor(i / TRACKS), isLoud = frame % RATE < RATE / 10;
    samples[i] = Math.round((state / 2147483647 - 0.5) * (isLoud ? 16000 : 400));
  }
  return samples;
}

function wavBytes(samples) {
  const bytes = Buffer.alloc(HEADER_BYTES + samples.byteLength);
  bytes.write('RIFF', 0); bytes.writeUInt32LE(bytes.length - 8, 4); bytes.write('WAVEfmt ', 8); bytes.writeUInt32LE(16, 16);
  bytes.writeUInt16LE(1, 20); bytes.writeUInt16LE(TRACKS, 22); bytes.writeUInt32LE(RATE, 24); bytes.writeUInt32LE(RATE * TRACKS * 2, 28);
  bytes.writeUInt16LE(TRACKS * 2, 32); bytes.writeUInt16LE(16, 34); bytes.write('data', 36); bytes.writeUInt32LE(samples.byteLength, 40);
  Buffer.from(samples.buffer, samples.byteOffset, samples.byteLength).copy(bytes, HEADER_BYTES);
  return bytes;
}

/** The survey as `attribute` does it, from an open file straight into the kernels' memory. */
async function prepareSurvey(path) {
  const shape = { fftSize: FFT, hopFrames: HOP, trackCount: TRACKS, mostSlots: SLOTS, rowEvery: EVERY, sampleRateHz: RATE, bandHz: BAND };
  const kernels = new SurveyKernels(createKernels(await loadKernelsFile(), countSurveyBytes(shape)), shape);
  const rank = Math.floor(0.25 * (Math.ceil((SLOTS - 1) / EVERY) - 1));
  const ranks = new Array(TRACKS).fill(rank), file = openSync(path, 'r');
  process.on('exit', () => closeSync(file));
  const run = () => {
    kernels.start();
    for (let slot = 0; slot < SLOTS; slot += kernels.chunkSlots) {
      const slots = Math.min(kernels.chunkSlots, SLOTS - slot), frameCount = slots * SLOT;
      readSync(file, kernels.buffers[0], 0, frameCount * TRACKS * 2, HEADER_BYTES + slot * SLOT * TRACKS * 2);
      const runs = ranks.map((_, trackIndex) => ({ trackIndex, offset: 0, frameCount, byteOffset: 2 * trackIndex, strideBytes: 2 * TRACKS, coding: 's16' }));
      kernels.take(0, runs, slots);
    }
    return kernels.findQuantiles(ranks);
  };
  const floors = byTrack(run()), energies = byTrack(kernels.readEnergies());
  const hops = energies.length / TRACKS;
  // Commands hear the first slot too, which is 4e-4 of all.
  const levelsDb = ranks.map((_, t) => 10 * Math.log10(energies.subarray(t * hops, (t + 1) * hops).reduce((sum, v) => sum + v, 0) / hops));
  return { contender: timed('ours', run), rank, floors, energies, levelsDb };
}

/** [value][track] to [track][value]. */
function byTrack(values) {
  const count = values.length / TRACKS;
  return Float32Array.from(values, (_, i) => values[(i % count) * TRACKS + Math.floor(i / count)]);
}

function requireRatio(what, got, expected, tolerance) {
  const ratios = expected.map((v, i) => got[i] / v - 1);
  if (got.length !== expected.length || !ratios.every((r) => Math.abs(r) <= tolerance)) throw new Error(`${what}: not the same result (${differenceOf(got, expected)} apart)`);
}

/** A command's time for the whole file less that for its first second: what starting costs is left out. */
function command(name, whole, start, argsOf, readLevels) {
  const run = (path) => spawnSync(...argsOf(path), { encoding: 'utf8', stdio: ['ignore', 'pipe', 'pipe'] });
  const time = (path) => { const from = performance.now(); run(path); return (performance.now() - from) / 1000; };
  return {
    name, isWhole: true,
    run: () => (time(whole) - time(start)) * (FRAMES / (FRAMES - RATE)),
    measure: () => { const done = run(whole); return done.error || done.status !== 0 ? undefined : readLevels(`${done.stdout}${done.stderr}`); },
  };
}

function sox(whole, start) {
  const [low, high] = [0.8 * BAND[0], 1.2 * BAND[1]];
  const argsOf = (path) => ['sox', ['--single-threaded', path, '-n', 'highpass', String(low), 'lowpass', String(high), 'stats']];
  return command('sox', whole, start, argsOf, (text) => /RMS lev dB\s+(.*)/.exec(text)[1].trim().split(/\s+/).slice(1).map(Number));
}

function ffmpeg(whole, start) {
  const [low, high] = [0.8 * BAND[0], 1.2 * BAND[1]];
  const filter = `highpass=f=${low},lowpass=f=${high},astats=measure_overall=none:measure_perchannel=RMS_level`;
  const argsOf = (path) => ['ffmpeg', ['-hide_banner', '-nostats', '-threads', '1', '-filter_threads', '1', '-i', path, '-af', filter, '-f', 'null', '-']];
  return command('ffmpeg astats', whole, start, argsOf, (text) => [...text.matchAll(/RMS level dB: (\S+)/g)].map((m) => Number(m[1])));
}
