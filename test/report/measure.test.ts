import { decode } from 'fast-png';
import { describe, expect, it } from 'vitest';
import type { AudioReader } from '../../src/audio/types.js';
import { loadKernelsFile } from '../../src/node/kernels-file.js';
import { chooseExcerpts, measureEvidence, renderExcerpts } from '../../src/report/index.js';
import { findOffset } from '../../src/report/read-aligned.js';
import { StudyAudio } from '../../src/study/study-audio.js';
import type { Timeline } from '../../src/study/timeline.js';
import { makeNoise } from '../study/make-wav.js';
import { callRow } from './sample-input.js';

const RATE = 32000;

/** A study in memory: one signal per bird; `recorders` names the recorder of each. */
function makeStudy(signals: Record<string, Float32Array>, recorders: string[] = Object.keys(signals).map(() => 'one')): StudyAudio {
  const names = Object.keys(signals);
  const all = [...new Set(recorders)];
  const frameCount = Math.max(...Object.values(signals).map((s) => s.length));
  const timeline: Timeline = {
    sampleRateHz: RATE, recorders: all, frameCount, durationSec: frameCount / RATE, problems: [],
    tracks: names.map((bird, i) => ({ bird, recorder: recorders[i], recorderIndex: all.indexOf(recorders[i]), sampleRateHz: RATE, segments: [{ path: bird, channel: 0, startFrame: 0, fileFrame: 0, frameCount: signals[bird].length }] })),
  };
  return new StudyAudio(timeline, async (path): Promise<AudioReader> => ({
    name: path, nonFiniteCount: 0, lostFrames: 0,
    info: { container: 'RIFF', sampleRateHz: RATE, channelCount: 1, frameCount: signals[path].length, sampleFormat: 'float', bitsPerSample: 32, validBits: 32, warnings: [] },
    async readFrames(start, count, into, offset = 0) {
      const n = Math.max(0, Math.min(count, signals[path].length - start));
      into[0]!.set(signals[path].subarray(start, start + n), offset);
      return n;
    },
    async close() {},
  }));
}

describe('chooseExcerpts', () => {
  const calls = [callRow(1, 'a', 1, 0.9), callRow(2, 'a', 20, 0.9), callRow(3, 'b', 21, 0.9), callRow(4, 'none', 22, 0.9), callRow(5, 'a', 40, 0.9), callRow(6, 'b', 41, 0.9)];

  it('takes the busiest stretches in order of time, without overlap and inside the study', () => {
    expect(chooseExcerpts(calls, { count: 1, lengthSec: 8, durationSec: 60 })).toEqual([{ startSec: 19.75, endSec: 27.75 }]);
    const two = chooseExcerpts(calls, { count: 2, lengthSec: 8, durationSec: 45 });
    expect(two).toEqual([{ startSec: 19.75, endSec: 27.75 }, { startSec: 37, endSec: 45 }]);
    expect(chooseExcerpts([...calls].reverse(), { count: 2, lengthSec: 8, durationSec: 45 })).toEqual(two);
  });

  it('gives fewer where there are no more, and none without calls', () => {
    expect(chooseExcerpts(calls.slice(0, 1), { count: 3, lengthSec: 8, durationSec: 60 }).length).toBe(1);
    expect(chooseExcerpts([], { count: 3, lengthSec: 8, durationSec: 60 })).toEqual([]);
  });
});

describe('findOffset', () => {
  const row = (tRefSec: number, offsetSec: number) => ({ recorder: 'two', tRefSec, offsetSec, ppm: 100, uncertaintySec: 0 });
  it('is linear between rows, goes on at the rate beyond them, and is 0 for the reference', () => {
    const clock = [row(10, 1.001), row(0, 1)];
    expect(findOffset(clock, 'two', 5)).toBeCloseTo(1.0005, 12);
    expect(findOffset(clock, 'two', 20)).toBeCloseTo(1.002, 12);
    expect(findOffset(clock, 'two', -10)).toBeCloseTo(0.999, 12);
    expect(findOffset(clock, 'one', 5)).toBe(0);
  });
});

describe('renderExcerpts', () => {
  it('draws a tone where and when it sounds, dark on white, after the gains are taken out', async () => {
    const tone = makeNoise(2 * RATE, 1, 0.0001);
    for (let i = RATE; i < 1.5 * RATE; i++) tone[i] += 0.1 * Math.sin((2 * Math.PI * 4000 * i) / RATE);
    const loud = tone.map((v) => 2 * v);
    const [picture] = await renderExcerpts(await loadKernelsFile(), makeStudy({ a: tone, b: loud }), [{ startSec: 0.5, endSec: 2 }], { clock: [], gainsDb: { a: 0, b: 20 * Math.log10(2) } });
    const [a, b] = picture.tracks.map((t) => decode(Uint8Array.from(atob(t.png.replace('data:image/png;base64,', '')), (c) => c.charCodeAt(0))));
    expect([a.width, a.height, a.channels]).toEqual([picture.tracks[0].widthPx, picture.tracks[0].heightPx, 1]);
    const at = (image: typeof a, sec: number, hz: number): number => {
      const x = Math.floor(((sec - 0.5) / 1.5) * image.width);
      const y = image.height - 1 - Math.floor(((hz - picture.lowHz) / (picture.highHz - picture.lowHz)) * image.height);
      return image.data[y * image.width + x];
    };
    expect(at(a, 1.25, 4000)).toBeLessThan(30);
    expect(at(a, 0.75, 4000)).toBeGreaterThan(225);
    expect(at(a, 1.75, 4000)).toBeGreaterThan(225);
    expect(at(a, 1.25, 7000)).toBeGreaterThan(225);
    // The same sound behind a receiver of twice the gain is the same picture, but for a grey step of rounding.
    const most = Array.from(a.data).reduce((m, v, i) => Math.max(m, Math.abs(v - b.data[i])), 0);
    expect(most).toBeLessThanOrEqual(Math.ceil(255 / 40));
  });

  it('keeps sixteen tracks within its size', async () => {
    const signals = Object.fromEntries(Array.from({ length: 16 }, (_, i) => [`bird ${i}`, makeNoise(8 * RATE, i + 1, 0.1)]));
    const pictures = await renderExcerpts(await loadKernelsFile(), makeStudy(signals), [{ startSec: 0, endSec: 8 }], { clock: [], gainsDb: {}, mostPixels: 300_000 });
    const pixels = pictures[0].tracks.reduce((s, t) => s + t.widthPx * t.heightPx, 0);
    expect(pixels).toBeLessThanOrEqual(300_000);
    // White noise is the worst that can be drawn: not quite a byte per point, in base 64.
    expect(pictures[0].tracks.reduce((s, t) => s + t.png.length, 0)).toBeLessThan(1.4 * 300_000);
  });
});

describe('measureEvidence', () => {
  const LAG_FRAMES = 70;
  const LEAD = 10;
  const GAIN_DB = 6;

  /** A burst on track a, the same on b later and weaker behind a receiver of more gain, both in noise. */
  function makeTracks(offsetFrames: number): Record<string, Float32Array> {
    const burst = makeNoise(0.15 * RATE, 7, 0.2);
    const a = makeNoise(3 * RATE, 11, 0.0005);
    const b = makeNoise(3 * RATE, 12, 0.0005);
    burst.forEach((v, i) => {
      a[RATE + i] += v;
      b[RATE + i + LAG_FRAMES + offsetFrames] += (v / LEAD) * 10 ** (GAIN_DB / 20);
    });
    return { a, b };
  }
  const call = callRow(1, 'a', 1, 0.99, { offsetSec: 1.15 });
  const options = { gainsDb: { a: 0, b: GAIN_DB }, bandHz: [500, 12000] as const };

  it('finds lag and level of a call on another track', async () => {
    const [point, ...others] = await measureEvidence(await loadKernelsFile(), makeStudy(makeTracks(0)), [call], { ...options, clock: [] });
    expect(others).toEqual([]);
    expect(point).toMatchObject({ callId: 1, bird: 'a', track: 'b' });
    // A tenth of a frame: interpolated between half frames at more than 30 dB over the noise.
    expect(Math.abs(point.lagMs - (1000 * LAG_FRAMES) / RATE)).toBeLessThan(100 / RATE);
    expect(Math.abs(point.rawLeadDb - (20 - GAIN_DB))).toBeLessThan(0.5);
    expect(point.leadDb - point.rawLeadDb).toBeCloseTo(GAIN_DB, 9);
  });

  it('takes the clocks of the recorders out of the lag, fractions of a frame included', async () => {
    const clock = [{ recorder: 'two', tRefSec: 0, offsetSec: (8000 + 0.3) / RATE, ppm: 0, uncertaintySec: 0 }];
    const [point] = await measureEvidence(await loadKernelsFile(), makeStudy(makeTracks(8000), ['one', 'two']), [call], { ...options, clock });
    // The clock claims 0.3 frames more than was put in: the lag is as much shorter.
    expect(Math.abs(point.lagMs - (1000 * (LAG_FRAMES - 0.3)) / RATE)).toBeLessThan(100 / RATE);
  });

  it('measures only sure calls that overlap no other, by birds with a track', async () => {
    const unfit = [{ ...call, probability: 0.8 }, { ...call, overlaps: 1 }, { ...call, bird: 'none' }, { ...call, bird: 'elsewhere' }];
    expect(await measureEvidence(await loadKernelsFile(), makeStudy(makeTracks(0)), unfit, { ...options, clock: [] })).toEqual([]);
  });

  it('has room for the longest calls on the most tracks', async () => {
    const burst = makeNoise(1.9 * RATE, 7, 0.2);
    const tracks = Object.fromEntries(Array.from({ length: 16 }, (_, j) => {
      const x = makeNoise(4 * RATE, 20 + j, 0.0005);
      burst.forEach((v, i) => { x[RATE + i + 10 * j] += v / 2 ** Math.min(j, 3); });
      return [`t${j}`, x];
    }));
    const points = await measureEvidence(await loadKernelsFile(), makeStudy(tracks), [callRow(1, 't0', 1, 0.99, { offsetSec: 2.9 })], { gainsDb: {}, bandHz: [500, 12000], clock: [] });
    expect(points.map((p) => Math.round((p.lagMs * RATE) / 1000))).toEqual(Array.from({ length: 15 }, (_, j) => 10 * (j + 1)));
  });

  it('claims nothing about a track that does not hear the call', async () => {
    const { a } = makeTracks(0);
    expect(await measureEvidence(await loadKernelsFile(), makeStudy({ a, b: makeNoise(3 * RATE, 13, 0.0005) }), [call], { ...options, clock: [] })).toEqual([]);
  });
});
