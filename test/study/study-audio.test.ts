import { describe, expect, it } from 'vitest';
import { createBytesSource } from '../../src/audio/bytes-source.js';
import { openAudio } from '../../src/audio/open-audio.js';
import type { AudioReader } from '../../src/audio/types.js';
import { buildWavFile } from '../../src/audio/wav-writer.js';
import { StudyAudio } from '../../src/study/study-audio.js';
import type { Timeline } from '../../src/study/timeline.js';

/** A file whose sample at frame n of channel c is 1000 c + n + 1. */
function fakeReader(name: string, channelCount: number, frameCount: number, log: string[], fails = false): AudioReader {
  return {
    name, nonFiniteCount: 0, lostFrames: 0,
    info: { container: 'RIFF', sampleRateHz: 1000, channelCount, frameCount, sampleFormat: 'float', bitsPerSample: 32, validBits: 32, warnings: [] },
    async readFrames(start, count, into, offset = 0) {
      log.push(`${name} ${start}+${count}`);
      if (fails) throw new Error('the disk went away');
      const n = Math.max(0, Math.min(count, frameCount - start));
      for (let c = 0; c < channelCount; c++) for (let i = 0; i < n; i++) into[c]![offset + i] = 1000 * c + start + i + 1;
      return n;
    },
    async close() { log.push(`close ${name}`); },
  };
}

const segment = (path: string, channel: number, startFrame: number, frameCount: number, fileFrame = 0) => ({ path, channel, startFrame, fileFrame, frameCount });

function timelineOf(tracks: ReturnType<typeof segment>[][], recorderIndex: number[] = tracks.map(() => 0)): Timeline {
  return {
    sampleRateHz: 1000, recorders: ['A', 'B'], frameCount: 100, durationSec: 0.1, problems: [],
    tracks: tracks.map((segments, i) => ({ bird: `b${i}`, recorder: 'AB'[recorderIndex[i]], recorderIndex: recorderIndex[i], sampleRateHz: 1000, segments })),
  };
}

const blocks = (n: number, frames: number): Float32Array[] => Array.from({ length: n }, () => new Float32Array(frames).fill(-1));

describe('StudyAudio', () => {
  it('reads a file with several tracks once per span and puts each channel where it belongs', async () => {
    const log: string[] = [];
    const audio = new StudyAudio(timelineOf([[segment('m', 2, 0, 50)], [segment('m', 0, 0, 50)], [segment('m', 2, 0, 50)]]), async (p) => fakeReader(p, 3, 50, log));
    const into = blocks(3, 4);
    expect(await audio.readTracks(10, 4, into)).toEqual([]);
    expect(log).toEqual(['m 10+4']);
    expect(into.map((b) => [...b])).toEqual([[2011, 2012, 2013, 2014], [11, 12, 13, 14], [2011, 2012, 2013, 2014]]);
  });

  it.each(['pcm16', 'pcm24', 'float32'] as const)('decodes of a %s file the channels that are wanted, and all where what is no number has to be counted', async (encoding) => {
    const signals = [0, 1, 2, 3].map((c) => Float32Array.from({ length: 60 }, (_, i) => (c + 1) / 8 + i / 1024)), asked: boolean[][] = [];
    signals[3][20] = NaN;
    const open = async (p: string): Promise<AudioReader> => {
      const reader = await openAudio(createBytesSource(buildWavFile({ sampleRateHz: 1000, encoding }, signals), p)), readFrames = reader.readFrames.bind(reader);
      reader.readFrames = (start, count, into, offset) => { asked.push(into.map((x) => x !== null)); return readFrames(start, count, into, offset); };
      return reader;
    };
    const audio = new StudyAudio(timelineOf([[segment('m', 2, 0, 60)], [segment('m', 0, 0, 60)], [segment('m', 2, 5, 40)]]), open), into = blocks(3, 50), isFloat = encoding === 'float32';
    await audio.readTracks(10, 50, [into[0], null, into[2]]);
    expect(into[0]).toEqual(signals[2].slice(10));
    expect(into[1].every((v) => v === -1)).toBe(true);
    expect(Array.from(into[2])).toEqual([...signals[2].slice(5, 40), ...new Array(15).fill(0)]);
    expect(asked).toEqual([[isFloat, isFloat, true, isFloat], [isFloat, isFloat, true, isFloat]]);
    // What is no number on a channel of nobody's is nobody's.
    expect(audio.nonFiniteCounts).toEqual([0, 0, 0]);
  });

  it('joins files across a boundary and writes zeros in gaps, before the start and after the end', async () => {
    const audio = new StudyAudio(timelineOf([[segment('a', 0, 2, 3), segment('b', 0, 6, 3, 1)]]), async (p) => fakeReader(p, 1, 10, []));
    const into = blocks(1, 10);
    expect(await audio.readTracks(0, 10, into)).toEqual([
      { trackIndex: 0, startFrame: 0, frameCount: 2, reason: 'no-file' },
      { trackIndex: 0, startFrame: 5, frameCount: 1, reason: 'no-file' },
      { trackIndex: 0, startFrame: 9, frameCount: 1, reason: 'no-file' },
    ]);
    expect([...into[0]]).toEqual([0, 0, 1, 2, 3, 0, 2, 3, 4, 0]);
  });

  it('tells of a lost stretch every time it is read, and does not take digital silence for one', async () => {
    const open = async (p: string): Promise<AudioReader> => ({
      ...fakeReader(p, 1, 500, []), lostFrames: 100,
      async readFrames(_start, count, into, offset = 0) { into[0]!.fill(0, offset, offset + count); return count; },
      listLost: (start, count) => (start < 300 && start + count > 200 ? [[Math.max(200, start), Math.min(300, start + count)]] : []),
    });
    const audio = new StudyAudio(timelineOf([[segment('a', 0, 50, 400, 40)]]), open);
    for (let again = 0; again < 3; again++) {
      expect(await audio.readTracks(60, 390, blocks(1, 390))).toEqual([{ trackIndex: 0, startFrame: 210, frameCount: 100, reason: 'lost' }]);
      expect(await audio.readTracks(250, 10, blocks(1, 10))).toEqual([{ trackIndex: 0, startFrame: 250, frameCount: 10, reason: 'lost' }]);
      expect(await audio.readTracks(320, 100, blocks(1, 100))).toEqual([]);
    }
  });

  it('gives the same samples for any span', async () => {
    const make = () => new StudyAudio(timelineOf([[segment('a', 0, 3, 20), segment('b', 0, 30, 20)], [segment('b', 0, 0, 17)]]), async (p) => fakeReader(p, 1, 20, []));
    const whole = blocks(2, 60);
    await make().readTracks(0, 60, whole);
    const audio = make();
    for (const step of [1, 7, 13]) {
      for (let at = 0; at < 60; at += step) {
        const n = Math.min(step, 60 - at);
        const part = blocks(2, n);
        await audio.readTracks(at, n, part);
        for (const t of [0, 1]) expect([...part[t]]).toEqual([...whole[t].subarray(at, at + n)]);
      }
    }
  });

  it('takes a start per recorder and skips tracks that are not wanted', async () => {
    const log: string[] = [];
    const audio = new StudyAudio(timelineOf([[segment('a', 0, 0, 50)], [segment('b', 0, 0, 50)], [segment('c', 0, 0, 50)]], [0, 1, 1]), async (p) => fakeReader(p, 1, 50, log));
    const into = [new Float32Array(2), new Float32Array(2), null];
    await audio.readTracks([5, 9], 2, into);
    expect([...into[0]!, ...into[1]!]).toEqual([6, 7, 10, 11]);
    expect(log).toEqual(['a 5+2', 'b 9+2']);
  });

  it('keeps at most the allowed number of files open and closes all in the end', async () => {
    const log: string[] = [];
    const audio = new StudyAudio(timelineOf([[segment('a', 0, 0, 9)], [segment('b', 0, 0, 9)], [segment('c', 0, 0, 9)]]), async (p) => { log.push(`open ${p}`); return fakeReader(p, 1, 9, []); }, { maxOpenReaders: 2 });
    let open = 0;
    let most = 0;
    const counted = new StudyAudio(audio.timeline, async (p) => { open++; most = Math.max(most, open); const r = fakeReader(p, 1, 9, []); return { ...r, close: async () => { open--; } }; }, { maxOpenReaders: 2 });
    for (let i = 0; i < 3; i++) await counted.readTracks(i * 3, 3, blocks(3, 3));
    expect(most).toBe(2);
    await counted.close();
    expect(open).toBe(0);
  });

  it('counts per track what is no number, of a stretch as often as it is read and in all once', async () => {
    const signals = [0, 1].map(() => new Float32Array(60).fill(0.5));
    for (const k of [3, 20, 21]) signals[1][k] = [NaN, Infinity, -Infinity][k % 3];
    signals[0][50] = NaN;
    const file = buildWavFile({ sampleRateHz: 1000, encoding: 'float32' }, signals);
    const audio = new StudyAudio(timelineOf([[segment('m', 0, 0, 60)], [segment('m', 1, 0, 60)]]), async (p) => openAudio(createBytesSource(file, p)));
    const read = async (from: number, count: number): Promise<number[]> => (await audio.readPcm(from, count, new Uint8Array(1024))).nonFiniteCounts;
    expect([await read(0, 10), await read(0, 30), await read(40, 20)]).toEqual([[0, 1], [0, 3], [1, 0]]);
    expect(audio.nonFiniteCounts).toEqual([1, 3]);
  });

  it('counts how often a file that fails was wanted, by samples and by bytes', async () => {
    const log: string[] = [];
    const audio = new StudyAudio(timelineOf([[segment('bad', 0, 0, 50)], [segment('good', 0, 0, 100)]]), async (p) => fakeReader(p, 1, 100, log, p === 'bad'));
    const into = blocks(2, 10);
    await audio.readTracks(60, 10, into);
    expect(audio.unreadCount).toBe(0);
    await audio.readTracks(0, 10, into);
    expect(audio.unreadCount).toBe(1);
    // The file is not tried again, and is missing all the same.
    await audio.readPcm(10, 10, new Uint8Array(200));
    expect([audio.unreadCount, audio.problems.length]).toEqual([2, 1]);
    await audio.readTracks(60, 10, into);
    expect(audio.unreadCount).toBe(2);
  });

  it('turns a file that fails into a gap and one problem; the others go on', async () => {
    const log: string[] = [];
    const audio = new StudyAudio(timelineOf([[segment('bad', 0, 0, 50)], [segment('a', 0, 0, 50)]]), async (p) => fakeReader(p, 1, 50, log, p === 'bad'));
    for (const at of [0, 2]) {
      const into = blocks(2, 2);
      expect(await audio.readTracks(at, 2, into)).toEqual([{ trackIndex: 0, startFrame: at, frameCount: 2, reason: 'unreadable' }]);
      expect([...into[0], ...into[1]]).toEqual([0, 0, at + 1, at + 2]);
    }
    expect(audio.problems).toHaveLength(1);
    expect(audio.problems[0].text).toContain('"bad": cannot be read');
    expect(log.filter((l) => l.startsWith('bad'))).toHaveLength(1);
  });

  it('calls a file that ends before its header says so lost from there', async () => {
    const audio = new StudyAudio(timelineOf([[segment('a', 0, 0, 50)]]), async (p) => fakeReader(p, 1, 3, []));
    const into = blocks(1, 5);
    expect(await audio.readTracks(0, 5, into)).toEqual([{ trackIndex: 0, startFrame: 3, frameCount: 2, reason: 'lost' }]);
    expect([...into[0]]).toEqual([1, 2, 3, 0, 0]);
  });
});
