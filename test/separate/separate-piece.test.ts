import { beforeAll, describe, expect, it } from 'vitest';
import { loadKernelsFile } from '../../src/node/kernels-file.js';
import type { TrackSound } from '../../src/separate/guard-wearer.js';
import type { SeparationCall } from '../../src/separate/plan-pieces.js';
import { BlockSeparator } from '../../src/separate/separate-block.js';
import type { Edit } from '../../src/separate/separate-piece.js';
import type { SeparationSettings } from '../../src/separate/settings.js';
import type { TrackSource } from '../../src/separate/track-loader.js';
import { makeNoise } from '../kernels/support.js';

const RATE = 8000, TRACKS = 3, FRAMES = 4.4 * RATE;
/** Crosstalk, amplitude; how many frames later it arrives. */
const CROSSTALK = 0.1, LATER = 5;

const call = (id: number, track: number, onsetSec: number): SeparationCall => ({ id, track, onsetSec, offsetSec: onsetSec + 0.15, probability: 1 });
/** Two birds that call in turn, then together; the third is silent. */
const CALLS = [call(0, 0, 0.5), call(1, 1, 1), call(2, 0, 1.5), call(3, 1, 2), call(4, 0, 2.5), call(5, 1, 3), call(6, 0, 3.6), call(7, 1, 3.66)];

function makeTracks(): Float32Array[] {
  const tracks = Array.from({ length: TRACKS }, (_, j) => Float32Array.from(makeNoise(FRAMES, 11 + j), (v) => 0.002 * v));
  CALLS.forEach(({ track, onsetSec, offsetSec }, n) => makeNoise(Math.round((offsetSec - onsetSec) * RATE), 101 + n).forEach((v, i) => {
    const at = Math.round(onsetSec * RATE) + i;
    tracks.forEach((x, j) => { x[at + (j === track ? 0 : LATER)] += j === track ? v : CROSSTALK * v; });
  }));
  return tracks;
}

let kernels: WebAssembly.Module;
beforeAll(async () => { kernels = await loadKernelsFile(); });

async function separate(tracks: readonly Float32Array[], calls: readonly SeparationCall[] = CALLS, sounds: readonly TrackSound[] = [], changes: Partial<SeparationSettings> = {}): Promise<Edit[]> {
  const read: TrackSource = async (starts, count, wanted, into) => wanted.map((j, n) => {
    const row = new Float32Array(into.buffer, into.byteOffset + 4 * n * count, count);
    for (let i = 0; i < count; i++) row[i] = tracks[j][starts[j] + i] ?? 0;
    return { trackIndex: j, offset: 0, frameCount: count, byteOffset: 4 * n * count, strideBytes: 4, coding: 'f32' };
  });
  return new BlockSeparator({ kernels, sampleRateHz: RATE, endFrames: tracks.map((x) => x.length), recorderOf: tracks.map(() => 0), clock: [{ knotSec: [0], offsetSec: [0], uncertaintySec: [0] }], calls, sounds, read, changes }).separate(0);
}

/** Edits of a track that reach into a call. */
const findEdits = (edits: readonly Edit[], track: number, { onsetSec, offsetSec }: SeparationCall): Edit[] => edits.filter((e) => e.track === track && e.startFrame < offsetSec * RATE && e.startFrame + e.change.length > onsetSec * RATE);

/** By how much a call falls on a track, dB. */
function measureFall(track: number, samples: Float32Array, edits: readonly Edit[], heard: SeparationCall): number {
  const out = samples.slice();
  for (const e of edits) if (e.track === track) e.change.forEach((v, i) => { out[e.startFrame + i] += v; });
  const power = (x: Float32Array): number => x.subarray(Math.round(heard.onsetSec * RATE), Math.round(heard.offsetSec * RATE)).reduce((s, v) => s + v * v, 0);
  return 10 * Math.log10(power(samples) / power(out));
}

describe('a call that others hear', () => {
  let tracks: Float32Array[], edits: Edit[];
  beforeAll(async () => { tracks = makeTracks(); edits = await separate(tracks); });

  it('is taken off every one of them down to the noise, once', () => {
    for (const heard of CALLS.slice(0, 6)) for (const track of [0, 1, 2]) {
      if (track === heard.track) continue;
      expect(findEdits(edits, track, heard)).toHaveLength(1);
      // It stands 34 dB above the noise.
      expect(measureFall(track, tracks[track], edits, heard)).toBeGreaterThan(20);
    }
  });

  it('leaves the own track of a solo call alone', () => {
    for (const heard of CALLS.slice(0, 6)) expect(findEdits(edits, heard.track, heard)).toEqual([]);
  });

  it('is no edit at all where the tables or the level say that all of it may be the silent wearer', async () => {
    const [first] = CALLS, louder = makeTracks(), from = Math.round(1.4 * RATE);
    makeNoise(0.4 * RATE, 7).forEach((v, i) => { louder[2][from + i] += 0.5 * v; });
    const kept = await separate(louder, CALLS, [{ track: 2, onsetSec: 0.4, offsetSec: 0.9 }]);
    for (const heard of [first, CALLS[2]]) {
      expect(findEdits(kept, 2, heard)).toEqual([]);
      // Others that hear it have nothing to do with that.
      expect(measureFall(1, louder[1], kept, heard)).toBeGreaterThan(20);
    }
  });

  // Where windows of 16 ms reach into what is kept, they stay.
  it.each([
    ['later part', [0.5, 0.56], [0.59, 0.65]], ['very beginning', [0.506, 0.9], [0.495, 0.502]], ['very end', [0.4, 0.644], [0.648, 0.652]],
  ])('is taken off where only a part of it may be the silent wearer, and that part stays bit for bit: what goes is its %s', async (_, [onsetSec, offsetSec], [fromSec, toSec]) => {
    // Without room that echoes, so that a piece ends with its call.
    const edits = findEdits(await separate(tracks, CALLS, [{ track: 2, onsetSec, offsetSec }], { roomTailSec: 0 }), 2, CALLS[0]);
    expect(edits).toHaveLength(1);
    const [{ startFrame, change }] = edits, part = (from: number, to: number): Float32Array => change.subarray(Math.max(0, Math.round(from * RATE) - startFrame), Math.round(to * RATE) - startFrame);
    expect(part(onsetSec, offsetSec).every((v) => v === 0)).toBe(true);
    expect(part(fromSec, toSec).every((v) => v !== 0)).toBe(true);
  });
});

describe('a row that meets an own call', () => {
  const tracks = makeTracks(), [own, other] = CALLS.slice(6), both = { ...other, offsetSec: own.offsetSec };
  const withProbability = (probability: number): SeparationCall[] => CALLS.map((c) => (c === other ? { ...c, probability } : c));

  it('is removed from it where it is sure', async () => {
    const edits = await separate(tracks, withProbability(0.8));
    expect(findEdits(edits, own.track, both)).not.toEqual([]);
  });

  it('is not where it is only more likely than not: a wrong row costs more there than a right one gains', async () => {
    const edits = await separate(tracks, withProbability(0.7));
    expect(findEdits(edits, own.track, both)).toEqual([]);
    // It is all the same taken off the silent listener, and the sure row out of the unsure one.
    expect(findEdits(edits, 2, both)).not.toEqual([]);
    expect(findEdits(edits, other.track, both)).not.toEqual([]);
  });
});
