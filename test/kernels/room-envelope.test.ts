import { beforeAll, describe, expect, it } from 'vitest';
import type { Kernels } from '../../src/kernels/kernels.js';
import { StretchKernels, type RoomTrack } from '../../src/kernels/stretch-kernels.js';
import { referenceEnvelope, referenceRoom } from '../reference/room-envelope.js';
import { allocGuarded, largestMagnitude, makeNoise, openKernels, placeTracks } from './support.js';

const FRAMES = 900;
/** scipy.signal.butter(2, 400, 'highpass', fs=44100), scipy 1.17: b = 0.9605, a = [1, -1.9194, 0.9227]; rounded, it is the same for both sides. */
const FILTER = { b: 0.9605, a1: -1.9194, a2: 0.9227 };

let k: Kernels;
beforeAll(async () => {
  k = await openKernels(8 << 20);
});

function makeStretch(tracks: Float32Array[]): StretchKernels {
  const signal = placeTracks(k, tracks);
  return new StretchKernels(k, { trackCount: tracks.length, frameCount: 0, binCount: 0, power: 0, powerScale: 1, spectra: 0, keptBins: 0, signal });
}

const makeTracks = (count: number): Float32Array[] => Array.from({ length: count }, (_, j) => (
  Float32Array.from(makeNoise(FRAMES, 400 + j), (v, i) => v * (i > 300 && i < 500 ? 1 : 0.1) / (j + 1) + 0.5 * Math.sin(i / 80))));

describe('envelopes of a track and of the room', () => {
  it.each([
    [1, 0, 900, 132], [2, 5, 700, 132], [3, 100, 101, 7], [4, 350, 777, 1], [5, 440, 900, 132], [8, 123, 645, 133], [8, 0, 50, 132], [16, 500, 900, 64],
  ])('agree with the plain loops: %i tracks, frames %i to %i, mean over %i', (trackCount, first, last, width) => {
    const mark = k.mark();
    const tracks = makeTracks(trackCount);
    const own = trackCount >> 1;
    const others: RoomTrack[] = tracks.map((_, track) => ({ track, noise: Math.fround(0.002 / (track + 1)), scale: Math.fround(1 + track) })).filter((o) => o.track !== own && o.track !== 1);
    const got = makeStretch(tracks).measureRoom(FILTER, own, others, first, last, 441, width);
    const envelopes = tracks.map((x) => referenceEnvelope(x, FILTER.b, FILTER.a1, FILTER.a2, first, last, 441, width));
    // The running sum forgets what left it up to f64 rounding of the largest; the result is f32.
    const same = (a: Float32Array, b: Float64Array, what: string): void => b.forEach((v, n) => (
      expect(Math.abs(a[n] - v), `${what} ${n}`).toBeLessThanOrEqual(1.5e-7 * v + 1e-7 * largestMagnitude(envelopes[0]) * (what === 'room' ? 16 : 1e-6))));
    same(got.own, envelopes[own], 'own');
    expect(largestMagnitude(got.own)).toBeGreaterThan(0);
    if (others.length > 0) same(got.room, referenceRoom(others.map((o) => envelopes[o.track]), others.map((o) => o.noise), others.map((o) => o.scale)), 'room');
    k.release(mark);
  });

  it('dies away in silence after sound, and keeps a NaN to its track', () => {
    const mark = k.mark();
    const tracks = makeTracks(3);
    tracks[0].fill(0, 350);
    tracks[1][600] = NaN;
    const { own, room } = makeStretch(tracks).measureRoom(FILTER, 0, [{ track: 2, noise: 0, scale: 1 }], 300, 900, 300, 20);
    // 550 samples at a pole radius of 0.96 leave 1e-10 of the state.
    expect(own.subarray(560).every((v) => v >= 0 && v < 1e-15)).toBe(true);
    expect(own[20]).toBeGreaterThan(1e-4);
    expect(room.every((v) => v > 0)).toBe(true);
    k.release(mark);
  });

  it('writes nowhere else', () => {
    const mark = k.mark();
    const region = placeTracks(k, makeTracks(5));
    const filter = k.alloc(24, 8);
    k.f64(filter, 3).set([FILTER.b, FILTER.a1, FILTER.a2]);
    const list = allocGuarded(k, 3);
    k.i32(list.ptr, 1)[0] = 4;
    list.values.set([0, 1], 1);
    const scratch = allocGuarded(k, k.fn.roomScratchBytes(5, 30) / 4);
    const [own, room] = [allocGuarded(k, 333), allocGuarded(k, 333)];
    k.fn.roomEnvelope(region.signal, region.trackStrideFrames, 5, FRAMES, 100, 433, 50, filter, 30, 2, list.ptr, 1, scratch.ptr, own.ptr, room.ptr);
    for (const guarded of [list, scratch, own, room]) guarded.expectIntact();
    k.release(mark);
  });
});
