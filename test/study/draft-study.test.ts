import { describe, expect, it } from 'vitest';
import type { AudioInfo } from '../../src/audio/types.js';
import { draftStudy } from '../../src/study/draft-study.js';
import type { DraftInput } from '../../src/study/draft-study.js';
import { validateManifest } from '../../src/study/manifest.js';
import { buildTimeline } from '../../src/study/timeline.js';
import type { FileHeader } from '../../src/study/timeline.js';

const RATE = 1000;
interface Shape { channels?: number; sec?: number; rate?: number; bext?: [string, string, number] }

function info({ channels = 1, sec = 10, rate = RATE, bext }: Shape = {}): FileHeader {
  const base: AudioInfo = { container: 'RIFF', sampleRateHz: rate, channelCount: channels, frameCount: Math.round(sec * rate), sampleFormat: 'pcm', bitsPerSample: 16, validBits: 16, warnings: [] };
  return { info: bext ? { ...base, broadcastTime: { originationDate: bext[0], originationTime: bext[1], timeReference: bext[2] } } : base };
}

function draft(files: Record<string, Shape | string>, more: Partial<DraftInput> = {}) {
  const headers = new Map(Object.entries(files).map(([path, f]): [string, FileHeader] => [path, typeof f === 'string' ? { failure: f } : info(f)]));
  const result = draftStudy({ name: 'study', headers, ...more });
  if (result.manifest) validateManifest(JSON.parse(JSON.stringify(result.manifest)), 'draft');
  const lines = result.manifest?.tracks.map((t) => `${t.recorder}/${t.bird}: ${t.files.map((f) => `${f.path}[${f.channel}]${f.start_s === undefined ? '' : `@${f.start_s}`}`).join(' ')}`);
  return { ...result, lines, headers };
}

describe('draft from names', () => {
  it('takes one mono file per bird', () => {
    const d = draft({ 'B10.wav': {}, 'B2.wav': {}, 'blue.flac': {} });
    expect(d.lines).toEqual(['recorder-1/B2: B2.wav[1]', 'recorder-1/B10: B10.wav[1]', 'recorder-1/blue: blue.flac[1]']);
    expect(d.manifest!.start).toBeUndefined();
    expect([d.notes, d.unusable]).toEqual([[], []]);
  });

  it('names the channels of a file', () => {
    expect(draft({ 'room.wav': { channels: 2 } }).lines).toEqual(['recorder-1/room_ch1: room.wav[1]', 'recorder-1/room_ch2: room.wav[2]']);
    expect(draft({ '20240501_060000.wav': { channels: 2 } }).lines).toEqual(['recorder-1/ch1: 20240501_060000.wav[1]@0', 'recorder-1/ch2: 20240501_060000.wav[2]@0']);
  });

  it('joins hourly files and trusts the samples within what whole seconds can tell', () => {
    const d = draft({ 'red_20240501_060000.wav': { sec: 3600.25 }, 'red_20240501_070001.wav': { sec: 3599.5 }, 'red_20240501_080000.wav': { sec: 60 } });
    expect(d.lines).toEqual(['recorder-1/red: red_20240501_060000.wav[1]@0 red_20240501_070001.wav[1]@3600.25 red_20240501_080000.wav[1]@7199.75']);
    expect(d.manifest!.start).toBe('2024-05-01T06:00:00Z');
    expect(d.notes).toEqual([expect.stringContaining('read as UTC')]);
    expect(buildTimeline(d.manifest!, d.headers).problems).toEqual([]);
  });

  it('keeps a gap that the times tell, and what follows after it', () => {
    const d = draft({ 'red_20240501_060000.wav': { sec: 100 }, 'red_20240501_060500.wav': { sec: 100 }, 'red_20240501_060640.wav': { sec: 5 } });
    expect(d.lines![0]).toMatch(/@0 .*@300 .*@400$/);
  });

  it('starts files of the same time together although one is shorter', () => {
    const d = draft({ 'red_20240501_060000.wav': { sec: 60 }, 'blue_20240501_060000.wav': { sec: 59.99 }, 'red_20240501_060100.wav': { sec: 60 }, 'blue_20240501_060100.wav': { sec: 60 } });
    expect(d.lines).toEqual(['recorder-1/blue: blue_20240501_060000.wav[1]@0 blue_20240501_060100.wav[1]@60', 'recorder-1/red: red_20240501_060000.wav[1]@0 red_20240501_060100.wav[1]@60']);
  });

  it('lets birds of one recorder have files of their own times', () => {
    const d = draft({ 'a_20240501_060000.wav': { sec: 100 }, 'b_20240501_060030.wav': { sec: 100 }, 'a_20240501_060140.wav': { sec: 9 }, 'b_20240501_060210.wav': { sec: 9 } });
    expect(d.lines!.map((l) => l.match(/@\d+/g))).toEqual([['@0', '@100'], ['@30', '@130']]);
  });

  it('takes a clock that went back an hour for what it is', () => {
    const d = draft({ 'red_20241027_010000.wav': { sec: 3600 }, 'red_20241027_020000.wav': { sec: 3600 }, 'red_20241027_020010.wav': { sec: 3600 } });
    expect(d.lines![0]).toMatch(/@0 .*@3600 .*@7200$/);
    expect(d.notes[0]).toContain('the clock was set back');
  });

  it('counts with the offset of the recorders from UTC, unless the name tells its zone', () => {
    expect(draft({ 'red_20240501_060000.wav': {} }, { utcOffsetMin: 120 }).manifest!.start).toBe('2024-05-01T04:00:00Z');
    expect(draft({ 'red_20240501T060000Z.wav': {} }, { utcOffsetMin: 120 }).manifest!.start).toBe('2024-05-01T06:00:00Z');
  });

  it('takes a sub-folder per recorder and puts their clocks beside each other', () => {
    const d = draft({ 'east/red_20240501_060003.wav': {}, 'east/blue_20240501_060003.wav': {}, 'west/grey_20240501_060000.wav': {} });
    expect(d.lines).toEqual(['east/blue: east/blue_20240501_060003.wav[1]@3', 'east/red: east/red_20240501_060003.wav[1]@3', 'west/grey: west/grey_20240501_060000.wav[1]@0']);
    expect(d.manifest!.recorders.map((r) => r.name)).toEqual(['east', 'west']);
    expect(d.manifest!.start).toBe('2024-05-01T06:00:00Z');
  });

  it('does not believe a recorder whose clock was never set', () => {
    const d = draft({ 'a/red_20240501_060000.wav': {}, 'b/grey_20000101_000000.wav': {} });
    expect(d.lines!.map((l) => l.slice(-2))).toEqual(['@0', '@0']);
    expect(d.notes[0]).toContain('"b" do not meet those of "a"');
  });

  it('takes a folder per bird for what it is, and a folder per day for nothing', () => {
    expect(draft({ 'red/20240501_060000.wav': {}, 'blue/20240501_060000.wav': {} }).lines).toEqual(['recorder-1/blue: blue/20240501_060000.wav[1]@0', 'recorder-1/red: red/20240501_060000.wav[1]@0']);
    expect(draft({ '2024-05-01/red_235950.wav': {}, '2024-05-02/red_000000.wav': {} }).lines).toEqual(['recorder-1/red: 2024-05-01/red_235950.wav[1]@0 2024-05-02/red_000000.wav[1]@10']);
  });

  it('tells apart birds of the same name on two recorders', () => {
    expect(draft({ 'a/ch1.wav': {}, 'a/x.wav': {}, 'b/ch1.wav': {} }).lines).toEqual(['a/a_ch1: a/ch1.wav[1]', 'a/x: a/x.wav[1]', 'b/b_ch1: b/ch1.wav[1]']);
  });
});

describe('draft from broadcast times', () => {
  const at = (time: string, extraSamples = 0): [string, string, number] => {
    const [h, m, s] = time.split(':').map(Number);
    return ['2024-05-01', time, (h * 3600 + m * 60 + s) * RATE + extraSamples];
  };

  it('joins a counted series that follows on, exactly to the sample', () => {
    const d = draft({ 'T_0001.wav': { channels: 2, sec: 60, bext: at('06:00:00', 250) }, 'T_0002.wav': { channels: 2, sec: 60, bext: at('06:01:00', 750) } });
    expect(d.lines).toEqual(['recorder-1/T_ch1: T_0001.wav[1]@0 T_0002.wav[1]@60.5', 'recorder-1/T_ch2: T_0001.wav[2]@0 T_0002.wav[2]@60.5']);
    expect(d.manifest!.start).toBe('2024-05-01T06:00:00.250Z');
  });

  it('takes counted files that start together for birds', () => {
    expect(draft({ 'B1.wav': { bext: at('06:00:00') }, 'B2.wav': { bext: at('06:00:00') } }).lines).toEqual(['recorder-1/B1: B1.wav[1]@0', 'recorder-1/B2: B2.wav[1]@0']);
  });

  it('refines a name by the header and believes the name where they disagree', () => {
    const fine = draft({ 'red_20240501_060000.wav': { bext: at('06:00:00', 500) } });
    expect(fine.manifest!.start).toBe('2024-05-01T06:00:00.500Z');
    const odd = draft({ 'red_20240501_060000.wav': { bext: at('09:30:00') } });
    expect(odd.manifest!.start).toBe('2024-05-01T06:00:00Z');
    expect(odd.notes[0]).toMatch(/disagree \("red_20240501_060000.wav" by 3.5 h\); believed the names/);
  });
});

describe('draft by channels.csv', () => {
  it('follows its birds, recorders and order: the first recorder named is the reference', () => {
    const d = draft({ 'a.wav': {}, 'b.wav': {}, 'c.wav': {} }, { channelList: 'file,bird,recorder\nb.wav,red,east\na.wav,blue,west\n' });
    expect(d.lines).toEqual(['east/red: b.wav[1]', 'west/blue: a.wav[1]']);
    expect(d.manifest!.recorders.map((r) => r.name)).toEqual(['east', 'west']);
    expect(d.notes).toEqual([expect.stringContaining('1 sound files are not named')]);
  });

  it('finds the same name in another format, a path, and a series', () => {
    const d = draft({ 'a.flac': {}, 'x/b.wav': {}, 'c_20240501_060000.wav': {}, 'c_20240501_060010.wav': {} }, { channelList: 'file,bird\na.wav,A\nx\\b.wav,B\nc,C\n' });
    expect(d.lines).toEqual(['recorder-1/A: a.flac[1]@0', 'recorder-1/B: x/b.wav[1]@0', 'recorder-1/C: c_20240501_060000.wav[1]@0 c_20240501_060010.wav[1]@10']);
    expect(d.notes.join('\n')).toContain('names "a.wav"; took the file of the same name in another format');
  });

  it('gives channels by number or by order', () => {
    expect(draft({ 'm.wav': { channels: 3 } }, { channelList: 'file,bird,channel\nm.wav,C,3\nm.wav,A,1\n' }).lines).toEqual(['recorder-1/C: m.wav[3]', 'recorder-1/A: m.wav[1]']);
    expect(draft({ 'm.wav': { channels: 2 } }, { channelList: 'file,bird\nm.wav,A\nm.wav,B\n' }).lines).toEqual(['recorder-1/A: m.wav[1]', 'recorder-1/B: m.wav[2]']);
  });

  it.each<[string, string, Record<string, Shape>, string]>([
    ['a file that is not there', 'file,bird\na.wav,A\nz.wav,Z\n', { 'a.wav': {} }, 'row 3: "z.wav": no such sound file'],
    ['a channel that is not there', 'file,bird,channel\na.wav,A,1\na.wav,B,2\n', { 'a.wav': {} }, 'row 3 column channel: wrong value; got "2"; expected a number from 1 to 1'],
    ['rows that do not fit the channels', 'file,bird\na.wav,A\nm.wav,B\nm.wav,C\n', { 'a.wav': {}, 'm.wav': { channels: 8 } }, '"m.wav" has 8 channels and is named in 2 rows; add a column channel'],
    ['a channel given twice', 'file,bird,channel\na.wav,A,1\na.wav,B,1\n', { 'a.wav': {} }, 'given to both "A" and "B"'],
    ['a bird on two recorders', 'file,bird,recorder\na.wav,A,1\nb.wav,A,2\n', { 'a.wav': {}, 'b.wav': {} }, '"A" is on both recorder "1" and "2"'],
  ])('names %s and keeps the rest', (_, channelList, files, line) => {
    const d = draft(files, { channelList });
    expect(d.unusable.join('\n')).toContain(line);
    expect(d.lines![0]).toMatch(/\/A: a.wav\[1\]/);
  });

  it('is believed against the folders, and says so', () => {
    const d = draft({ 'x/a.wav': {}, 'y/b.wav': {} }, { channelList: 'file,bird,recorder\na.wav,A,one\nb.wav,B,one\n' });
    expect(d.lines).toEqual(['one/A: x/a.wav[1]', 'one/B: y/b.wav[1]']);
    expect(d.notes.join()).toContain('believed channels.csv');
  });

  it('refuses a list without the needed columns', () => {
    expect(() => draft({ 'a.wav': {} }, { channelList: 'name,bird\na.wav,A\n' })).toThrow('"channels.csv" row 1: column file is missing');
  });
});

describe('draft of a damaged folder', () => {
  it('names what cannot be used and keeps the rest', () => {
    const d = draft({ 'a.wav': {}, 'b.wav': '"b.wav": not a sound file', 'c.wav': { sec: 0 }, 'd.wav': { rate: 500 }, 'e.wav': {}, 'e.flac': {} });
    expect(d.lines).toEqual(['recorder-1/a: a.wav[1]', 'recorder-1/e: e.flac[1]']);
    expect(d.unusable).toEqual(['"b.wav": not a sound file', '"c.wav": holds no sound', '"e.wav": left out, for "e.flac" has the same name', '"d.wav": left out, for it has 500 Hz; expected 1000 Hz as in most files']);
  });

  it('has no study where nothing can be used', () => {
    expect(draft({ 'b.wav': 'no' }).manifest).toBeUndefined();
    expect(draft({}).manifest).toBeUndefined();
  });
});
