import { describe, expect, it } from 'vitest';
import type { AudioInfo } from '../../src/audio/types.js';
import type { StudyManifest } from '../../src/study/manifest.js';
import { buildTimeline } from '../../src/study/timeline.js';
import type { FileHeader } from '../../src/study/timeline.js';

const info = (frameCount: number, more: Partial<AudioInfo> = {}): FileHeader => ({
  info: { container: 'RIFF', sampleRateHz: 1000, channelCount: 1, frameCount, sampleFormat: 'pcm', bitsPerSample: 16, validBits: 16, warnings: [], ...more },
});

const study = (tracks: StudyManifest['tracks'], recorders = ['A']): StudyManifest => ({ volary: 1, name: 's', recorders: recorders.map((name) => ({ name })), tracks });
const track = (bird: string, files: StudyManifest['tracks'][0]['files'], recorder = 'A'): StudyManifest['tracks'][0] => ({ bird, recorder, files });

describe('timeline', () => {
  it('puts files without a start one after the other', () => {
    const t = buildTimeline(study([track('r', [{ path: 'a', channel: 1 }, { path: 'b', channel: 1 }])]), new Map([['a', info(5)], ['b', info(7)]]));
    expect(t.problems).toEqual([]);
    expect(t.tracks[0].segments).toEqual([
      { path: 'a', channel: 0, startFrame: 0, fileFrame: 0, frameCount: 5 },
      { path: 'b', channel: 0, startFrame: 5, fileFrame: 0, frameCount: 7 },
    ]);
    expect([t.frameCount, t.durationSec, t.sampleRateHz]).toEqual([12, 0.012, 1000]);
  });

  it('reports gaps and lets the earlier file win where two overlap', () => {
    const files = [{ path: 'c', channel: 1, start_s: 0.03 }, { path: 'a', channel: 1, start_s: 0 }, { path: 'b', channel: 1, start_s: 0.006 }];
    const t = buildTimeline(study([track('r', files)]), new Map([['a', info(10)], ['b', info(10)], ['c', info(10)]]));
    expect(t.tracks[0].segments).toEqual([
      { path: 'a', channel: 0, startFrame: 0, fileFrame: 0, frameCount: 10 },
      { path: 'b', channel: 0, startFrame: 10, fileFrame: 4, frameCount: 6 },
      { path: 'c', channel: 0, startFrame: 30, fileFrame: 0, frameCount: 10 },
    ]);
    expect(t.problems.map((p) => [p.kind, p.startSec, p.durationSec])).toEqual([['overlap', 0.006, 0.004], ['gap', 0.016, 0.014]]);
  });

  it('drops a file that lies wholly inside the one before, and still sees the gap after it', () => {
    const files = [{ path: 'a', channel: 1, start_s: 0 }, { path: 'b', channel: 1, start_s: 0.002 }, { path: 'c', channel: 1, start_s: 0.02 }];
    const t = buildTimeline(study([track('r', files)]), new Map([['a', info(10)], ['b', info(3)], ['c', info(10)]]));
    expect(t.tracks[0].segments.map((s) => [s.path, s.startFrame, s.frameCount])).toEqual([['a', 0, 10], ['c', 20, 10]]);
    expect(t.problems.map((p) => [p.kind, p.durationSec])).toEqual([['overlap', 0.003], ['gap', 0.01]]);
  });

  it('names each file that cannot be used and keeps the rest', () => {
    const t = buildTimeline(study([
      track('r', [{ path: 'bad', channel: 1, start_s: 0 }, { path: 'ok', channel: 1, start_s: 1 }]),
      track('g', [{ path: 'ok', channel: 3 }]),
      track('b', [{ path: 'empty', channel: 1 }]),
      track('y', [{ path: 'fast', channel: 1 }]),
    ]), new Map<string, FileHeader>([['bad', { failure: '"bad": is no sound' }], ['ok', info(1000)], ['empty', info(0)], ['fast', info(2000, { sampleRateHz: 2000 })]]));
    expect(t.tracks.map((x) => x.bird)).toEqual(['r']);
    expect(t.problems.filter((p) => p.severity === 'error').map((p) => [p.bird, p.kind])).toEqual([
      ['r', 'unreadable'], ['g', 'channel'], ['g', 'no-track'], ['b', 'empty'], ['b', 'no-track'], ['y', 'rate'],
    ]);
    expect(t.problems.find((p) => p.kind === 'rate')!.text).toContain('"fast" has 2000 Hz; expected 1000 Hz');
  });

  it('does not guess where a file starts when the one before it is lost', () => {
    const t = buildTimeline(study([track('r', [{ path: 'a', channel: 1 }, { path: 'bad', channel: 1 }, { path: 'c', channel: 1 }])]),
      new Map<string, FileHeader>([['a', info(5)], ['bad', { failure: 'no' }], ['c', info(5)]]));
    expect(t.tracks[0].segments.map((s) => s.path)).toEqual(['a']);
    expect(t.problems.map((p) => p.kind)).toEqual(['unreadable', 'start']);
  });

  it('follows the rate of most tracks', () => {
    const rate = (r: number): FileHeader => info(10, { sampleRateHz: r });
    const t = buildTimeline(study(['a', 'b', 'c'].map((p) => track(p, [{ path: p, channel: 1 }]))), new Map([['a', rate(500)], ['b', rate(900)], ['c', rate(900)]]));
    expect(t.sampleRateHz).toBe(900);
    expect(t.tracks.map((x) => x.bird)).toEqual(['b', 'c']);
  });

  it('reports a channel given to two birds, unequal lengths, a missing reference clock and header warnings', () => {
    const t = buildTimeline(study([track('r', [{ path: 'a', channel: 1 }], 'B'), track('g', [{ path: 'a', channel: 1 }], 'B'), track('y', [{ path: 'b', channel: 1 }], 'B')], ['A', 'B']),
      new Map([['a', info(10, { warnings: ['odd size'] })], ['b', info(8)]]));
    expect(t.problems.map((p) => [p.severity, p.kind])).toEqual([['warning', 'header'], ['error', 'duplicate'], ['warning', 'unequal'], ['error', 'no-reference']]);
    expect(t.tracks.every((x) => x.recorderIndex === 1)).toBe(true);
  });

  it('is exact after two weeks of hourly files at 48 kHz', () => {
    const rate = 48000;
    const files = Array.from({ length: 14 * 24 }, (_, i) => ({ path: `${i}`, channel: 1, start_s: (i * (3600 * rate + 1)) / rate }));
    const t = buildTimeline(study([track('r', files)]), new Map(files.map((f) => [f.path, info(3600 * rate + 1, { sampleRateHz: rate })])));
    expect(t.problems).toEqual([]);
    expect(t.frameCount).toBe(14 * 24 * (3600 * rate + 1));
  });
});
