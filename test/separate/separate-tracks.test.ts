import { beforeAll, describe, expect, it } from 'vitest';
import { readOffset } from '../../src/model/clock.js';
import type { ClockModel } from '../../src/model/clock.js';
import { loadKernelsFile } from '../../src/node/kernels-file.js';
import { measureSiSdr } from '../../src/score/separation-measures.js';
import { planPieces } from '../../src/separate/plan-pieces.js';
import type { SeparationCall } from '../../src/separate/plan-pieces.js';
import { BlockSeparator } from '../../src/separate/separate-block.js';
import { separateTracks } from '../../src/separate/separate-tracks.js';
import type { SeparationInput } from '../../src/separate/separate-tracks.js';
import { chooseSeparationSettings } from '../../src/separate/settings.js';
import type { TrackSource } from '../../src/separate/track-loader.js';
import type { Scene } from '../../src/simulate/scene.js';
import { simulateScene } from '../../src/simulate/simulate-scene.js';
import type { SimulatedScene } from '../../src/simulate/simulate-scene.js';

const RATE = 22050;

/** Two birds 15 cm apart that do not move, in a room with some echo: solo calls of both, then calls together. */
function makeScene(second: NonNullable<Scene['recorders']>[number] = { name: '1' }): Scene {
  const at = (bird: string, onsetSec: number) => ({ bird, onsetSec, type: bird, levelDb: bird === 'red' ? -4 : 3 });
  const call = (freqHz: number, name: string) => ({ kind: 'stack' as const, name, freqHz, durationSec: [0.15, 0.18] as [number, number] });
  return {
    durationSec: 9, sampleRateHz: RATE, room: { sizeM: [1.6, 1.2, 1.1], rt60Sec: 0.15 },
    background: { levelDb: -60, rumbleDb: -80 }, bodyNoise: { wingPerMin: 0, preenPerMin: 0, scratchPerMin: 0, peckPerMin: 0, hopPerMin: 0, shakePerMin: 0 }, roomNoise: { cagePerMin: 0 },
    recorders: second.name === '1' ? [{ name: '1' }] : [{ name: '1' }, second],
    voices: { red: { calls: [call(620, 'red')] }, blue: { calls: [call(510, 'blue')] } },
    birds: [
      { name: 'red', voice: 'red', perchesM: [[0.7, 0.6, 0.5]], movesPerMin: 0, tag: { noiseDb: -55 } },
      { name: 'blue', voice: 'blue', perchesM: [[0.85, 0.6, 0.5]], movesPerMin: 0, recorder: second.name, tag: { noiseDb: -55, gainDb: 4 } },
    ],
    calls: [at('red', 0.7), at('blue', 1.3), at('red', 1.9), at('blue', 2.5), at('red', 3.1), at('blue', 3.7), at('red', 4.5), at('blue', 4.56), at('blue', 5.4), at('red', 5.5), at('red', 6.4), at('blue', 7)],
  };
}

interface Result { scene: SimulatedScene; calls: SeparationCall[]; clock: ClockModel; out: Float32Array[] }

async function describeInput(scene: SimulatedScene, cut: (calls: SeparationCall[]) => SeparationCall[]): Promise<SeparationInput> {
  const birds = scene.tracks.map((t) => t.bird), recorders = [...new Set(scene.tracks.map((t) => t.recorder))];
  const calls = scene.truth.map((r) => ({ id: r.id, track: birds.indexOf(r.bird), onsetSec: r.onsetSec, offsetSec: r.offsetSec, probability: 1 }));
  const clock = recorders.map((name) => {
    const rows = scene.clock.filter((c) => c.recorder === name);
    return rows.length ? { knotSec: rows.map((c) => c.tRefSec), offsetSec: rows.map((c) => c.offsetSec), uncertaintySec: rows.map(() => 0) } : { knotSec: [0], offsetSec: [0], uncertaintySec: [0] };
  });
  const frames = scene.tracks[0].samples.length;
  const read: TrackSource = async (starts, count, wanted, into) => wanted.map((j, n) => {
    const row = new Float32Array(into.buffer, into.byteOffset + 4 * n * count, count);
    for (let i = 0; i < count; i++) row[i] = scene.tracks[j].samples[starts[j] + i] ?? 0;
    return { trackIndex: j, offset: 0, frameCount: count, byteOffset: 4 * n * count, strideBytes: 4, coding: 'f32' };
  });
  return { kernels: await loadKernelsFile(), sampleRateHz: RATE, endFrames: scene.tracks.map(() => frames), recorderOf: scene.tracks.map((t) => recorders.indexOf(t.recorder)), clock, calls: cut(calls), read };
}

async function separate(scene: SimulatedScene, cut = (calls: SeparationCall[]): SeparationCall[] => calls): Promise<Result> {
  const input = await describeInput(scene, cut), { calls } = await describeInput(scene, (all) => all), out = scene.tracks.map((t) => new Float32Array(t.samples.length).fill(NaN));
  for await (const block of separateTracks(input)) block.tracks.forEach((x, j) => out[j].set(x, block.startFrame));
  return { scene, calls: [...calls], clock: input.clock, out };
}

/** Gain of SI-SDR over the raw own track, by call. */
function listGains({ scene, calls, clock, out }: Result): { call: SeparationCall; isOverlapped: boolean; gainDb: number }[] {
  return calls.map((call) => {
    const t = scene.tracks[call.track], offset = readOffset(clock[clock.length > 1 ? call.track : 0], call.onsetSec);
    const part = (x: Float32Array): Float32Array => x.subarray(Math.round((call.onsetSec + offset) * RATE), Math.round((call.offsetSec + offset) * RATE));
    const isOverlapped = calls.some((o) => o.track !== call.track && o.onsetSec < call.offsetSec && o.offsetSec > call.onsetSec);
    return { call, isOverlapped, gainDb: measureSiSdr(part(out[call.track]), part(t.ownVoice!)) - measureSiSdr(part(t.samples), part(t.ownVoice!)) };
  });
}

describe('separation of two birds side by side', () => {
  let result: Result;
  beforeAll(async () => { result = await separate(simulateScene(makeScene(), 5, { ownVoice: true })); });

  it('improves every overlapped call, the softer ones by more than 8 dB', () => {
    const overlapped = listGains(result).filter((g) => g.isOverlapped);
    expect(overlapped).toHaveLength(4);
    for (const g of overlapped) expect(g.gainDb).toBeGreaterThan(3);
    for (const g of overlapped.filter((o) => o.call.track === 0)) expect(g.gainDb).toBeGreaterThan(8);
  });

  it('costs solo calls nothing', () => {
    for (const g of listGains(result).filter((o) => !o.isOverlapped)) expect(g.gainDb).toBe(0);
  });

  it('takes solo calls off the other track down to its noise, by more than 10 dB', () => {
    const power = (x: Float32Array, c: SeparationCall): number => x.subarray(Math.round(c.onsetSec * RATE), Math.round(c.offsetSec * RATE)).reduce((s, v) => s + v * v, 0);
    for (const c of result.calls.slice(0, 6)) {
      const other = 1 - c.track;
      expect(10 * Math.log10(power(result.scene.tracks[other].samples, c) / power(result.out[other], c))).toBeGreaterThan(10);
    }
  });

  it('leaves every sample outside its pieces as it was, bit for bit', () => {
    const pieces = planPieces(result.calls, 2, chooseSeparationSettings(RATE));
    result.scene.tracks.forEach((t, j) => {
      const touched = new Uint8Array(t.samples.length);
      for (const p of pieces) if (p.track === j) touched.fill(1, Math.max(0, Math.floor((p.startSec - 0.005) * RATE)), Math.ceil((p.endSec + 0.005) * RATE));
      let kept = 0, changed = 0;
      t.samples.forEach((v, i) => { if (touched[i]) return; kept++; if (!Object.is(v, result.out[j][i])) changed++; });
      expect(changed).toBe(0);
      expect(kept).toBeGreaterThan(0.5 * t.samples.length);
    });
  });

  it('gives the same bytes whatever lay in memory before, and by however many at a time', async () => {
    const blocks = new BlockSeparator(await describeInput(result.scene, (calls) => calls)), [first, ...others] = await Promise.all([0, 0, 0].map((n) => blocks.separate(n)));
    expect(first.length).toBeGreaterThan(10);
    for (const again of others) expect(again).toEqual(first);
  });

  it('changes nothing at all without calls of others', async () => {
    const { scene, out } = await separate(result.scene, () => []);
    scene.tracks.forEach((t, j) => expect(out[j]).toEqual(t.samples));
  });
});

describe('a call given to the wrong bird', () => {
  it('stays on its own track, bit for bit', async () => {
    const scene = simulateScene(makeScene(), 5, { ownVoice: true }), blue = 1, wrong = 5;
    const { calls, out } = await separate(scene, (all) => all.map((c, i) => (i === wrong ? { ...c, track: 0 } : c)));
    expect(calls[wrong].track).toBe(blue);
    const part = (x: Float32Array): Float32Array => x.subarray(Math.round(calls[wrong].onsetSec * RATE), Math.round(calls[wrong].offsetSec * RATE));
    expect(part(out[blue])).toEqual(part(scene.tracks[blue].samples));
    // The calls that red made are still taken off blue's track: the guard does not keep everything.
    const red = calls[0], cut = (x: Float32Array): Float32Array => x.subarray(Math.round(red.onsetSec * RATE), Math.round(red.offsetSec * RATE));
    expect(cut(out[blue])).not.toEqual(cut(scene.tracks[blue].samples));
  });
});

describe('separation across recorders', () => {
  it('follows a clock that is ahead and fast', async () => {
    const result = await separate(simulateScene(makeScene({ name: '2', offsetSec: 0.4321, driftPpm: 60 }), 5, { ownVoice: true }));
    const overlapped = listGains(result).filter((g) => g.isOverlapped && g.call.track === 0);
    expect(overlapped.length).toBeGreaterThan(0);
    for (const g of overlapped) expect(g.gainDb).toBeGreaterThan(8);
  });
});
