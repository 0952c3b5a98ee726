import { beforeAll, describe, expect, it } from 'vitest';
import { createBytesSource } from '../../src/audio/bytes-source.js';
import { openAudio } from '../../src/audio/open-audio.js';
import { buildWavFile, type WavEncoding } from '../../src/audio/wav-writer.js';
import { createKernels, type Kernels } from '../../src/kernels/kernels.js';
import { PcmLanes, placeLanes } from '../../src/kernels/lane-records.js';
import { PcmPlanes } from '../../src/kernels/pcm-planes.js';
import { loadKernelsFile } from '../../src/node/kernels-file.js';
import { StudyAudio } from '../../src/study/study-audio.js';
import type { Timeline } from '../../src/study/timeline.js';
import { makeNoise } from './make-wav.js';

let k: Kernels;
beforeAll(async () => { k = createKernels(await loadKernelsFile(), 8 << 20); });

const FRAMES = 1500;

/** Five tracks: one recorder's file of three channels, a file of two cut in two with a hole between, of which one channel is wanted twice. */
function openStudy(encoding: WavEncoding): StudyAudio {
  const signals = Array.from({ length: 5 }, (_, j) => makeNoise(FRAMES, 9 + j, 0.9));
  const file = (channels: Float32Array[]): Uint8Array => buildWavFile({ sampleRateHz: 1000, encoding }, channels);
  const files: Record<string, Uint8Array> = {
    a: file(signals.slice(0, 3)), b1: file(signals.slice(3).map((x) => x.subarray(0, 700))), b2: file(signals.slice(3).map((x) => x.subarray(800))),
  };
  const parts = (channel: number): Timeline['tracks'][number]['segments'] => [
    { path: 'b1', channel, startFrame: 0, fileFrame: 0, frameCount: 700 }, { path: 'b2', channel, startFrame: 800, fileFrame: 0, frameCount: 700 },
  ];
  const segments = [2, 0, 1].map((channel) => [{ path: 'a', channel, startFrame: 0, fileFrame: 0, frameCount: FRAMES }]).concat([parts(0), parts(1)]);
  const timeline: Timeline = {
    sampleRateHz: 1000, recorders: ['1', '2'], frameCount: FRAMES, durationSec: FRAMES / 1000, problems: [],
    tracks: segments.map((s, j) => ({ bird: `b${j}`, recorder: j < 3 ? '1' : '2', recorderIndex: j < 3 ? 0 : 1, sampleRateHz: 1000, segments: s })),
  };
  return new StudyAudio(timeline, (path) => openAudio(createBytesSource(files[path], path)));
}

describe.each(['pcm16', 'pcm24', 'float32'] as const)('tracks read as bytes from %s files', (encoding) => {
  it('are those that are read sample by sample, with the same gaps, whatever the span', async () => {
    const audio = openStudy(encoding);
    const mark = k.mark();
    const pcm = new PcmLanes(k, 5, 512);
    const region = placeLanes(k, 5, 512, 8);
    const lanes = [0, 1].map((g) => k.f32(region.lanes + g * region.groupBytes, 4 * 512));
    const into = Array.from({ length: 5 }, () => new Float32Array(512));
    for (const [starts, count] of [[[0, 0], 512], [[650, 651], 300], [[-20, 33], 64], [[1400, 1399], 512], [[710, 720], 40], [[3, 700], 1]] as [number[], number][]) {
      for (const g of lanes) g.fill(NaN);
      const gaps = await audio.readTracks(starts, count, into);
      const found = await audio.readPcm(starts, count, pcm.buffer);
      pcm.write(found.runs, count, region, 0);
      expect(found.gaps).toEqual(gaps);
      for (let j = 0; j < 5; j++) expect(Array.from(into[j].subarray(0, count), (_, i) => lanes[j >> 2][4 * i + (j & 3)])).toEqual(Array.from(into[j].subarray(0, count)));
    }
    await audio.close();
    k.release(mark);
  });

  it('are read of the tracks that are wanted alone, to planar rows', async () => {
    const audio = openStudy(encoding), mark = k.mark(), pcm = new PcmPlanes(k, 5, 512), rows = k.allocF32(5 * 520);
    const into = Array.from({ length: 5 }, () => new Float32Array(512));
    for (const wanted of [[0, 1, 2, 3, 4], [1], [4, 0], [1, 2, 3, 4]]) {
      for (const [starts, count] of [[[0, 0], 512], [[650, 651], 300], [[-20, 33], 64], [[1400, 1399], 512], [[3, 700], 1]] as [number[], number][]) {
        const gaps = await audio.readTracks(starts, count, into), found = await audio.readPcm(starts, count, pcm.buffer, wanted), all = k.f32(rows, 5 * 520).fill(-7);
        pcm.write(found.runs, wanted, count, rows, 520);
        expect(found.gaps).toEqual(gaps.filter((g) => wanted.includes(g.trackIndex)));
        expect(found.runs.every((r) => wanted.includes(r.trackIndex))).toBe(true);
        wanted.forEach((j, t) => expect(all.subarray(520 * t, 520 * t + count)).toEqual(into[j].subarray(0, count)));
        expect(all.every((v, i) => v === -7 || (i < 520 * wanted.length && i % 520 < count))).toBe(true);
      }
    }
    await audio.close();
    k.release(mark);
  });
});

it('files without a wanted track are not opened', async () => {
  const audio = openStudy('pcm16'), opened: string[] = [];
  const watched = new StudyAudio(audio.timeline, (path) => { opened.push(path); return (audio as unknown as { openReader(p: string): ReturnType<typeof openAudio> }).openReader(path); });
  await watched.readPcm(0, 100, new Uint8Array(4 * 5 * 100 + 256), [3]);
  expect(opened).toEqual(['b1']);
});

it('a file that fails is a gap and a problem, and the other tracks are read', async () => {
  const audio = openStudy('pcm16');
  const broken = new StudyAudio(audio.timeline, async (path) => {
    const reader = await (audio as unknown as { openReader(p: string): ReturnType<typeof openAudio> }).openReader(path);
    return path !== 'a' ? reader : { ...reader, info: reader.info, pcmLayout: reader.pcmLayout, readBytes: () => Promise.reject(new Error('the disk went away')) };
  });
  const found = await broken.readPcm(0, 100, new Uint8Array(4 * 5 * 100 + 256));
  expect(found.gaps.map((g) => [g.trackIndex, g.reason, g.frameCount])).toEqual([[0, 'unreadable', 100], [1, 'unreadable', 100], [2, 'unreadable', 100]]);
  expect(found.runs.map((r) => r.trackIndex)).toEqual([3, 4]);
  expect(broken.problems.map((p) => p.text)).toEqual(['"a": cannot be read; got the disk went away']);
});
