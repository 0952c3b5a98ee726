import { describe, expect, it } from 'vitest';
import type { AudioInfo } from '../../src/audio/types.js';
import { isDateName, parseNamedTime, readBroadcastTime } from '../../src/study/file-times.js';

const iso = (ms: number): string => new Date(ms).toISOString();

describe('times in file names', () => {
  it.each<[string, string, string, string?]>([
    ['red_20240501_060000', 'red', '2024-05-01T06:00:00.000Z'],
    ['20240501_060000', '', '2024-05-01T06:00:00.000Z'],
    ['20240501-060000_red', 'red', '2024-05-01T06:00:00.000Z'],
    ['2024-05-01_06-00-00 blue', 'blue', '2024-05-01T06:00:00.000Z'],
    ['mic 2 2024_05_01_23_59_59', 'mic 2', '2024-05-01T23:59:59.000Z'],
    ['red_20240501T060000Z', 'red', '2024-05-01T06:00:00.000Z'],
    ['red_20240501T060000+0230', 'red', '2024-05-01T03:30:00.000Z'],
    ['red_20240501_060000_ch3', 'red_ch3', '2024-05-01T06:00:00.000Z'],
    ['red_20240501_060000_0017', 'red', '2024-05-01T06:00:00.000Z'],
    ['red_20240501_060000.250', 'red', '2024-05-01T06:00:00.250Z'],
    ['20240501060000_red', 'red', '2024-05-01T06:00:00.000Z'],
    ['red_240501_060000', 'red', '2024-05-01T06:00:00.000Z'],
    ['red_20240501_0600', 'red', '2024-05-01T06:00:00.000Z'],
    ['red 2024.05.01 06h00', 'red', '2024-05-01T06:00:00.000Z'],
    ['red_061500', 'red', '2024-05-01T06:15:00.000Z', '2024-05-01'],
    ['061500', '', '2024-05-01T06:15:00.000Z', '20240501'],
  ])('%s', (name, stem, time, folder) => {
    const found = parseNamedTime(name, folder)!;
    expect([found.stem, iso(found.timeMs)]).toEqual([stem, time]);
  });

  it.each(['red', 'B1', 'bird_0001', 'red_20241301_060000', 'red_20240230_060000', 'red_20240501_250000', 'red_20240501', 'ring_123456', '48000_16', 'track_2024'])('%s holds no time', (name) => {
    expect(parseNamedTime(name)).toBeUndefined();
  });

  it('knows how finely a time is told', () => {
    expect(['r_20240501_0600', 'r_20240501_060000', 'r_20240501_060000.25'].map((n) => parseNamedTime(n)!.stepSec)).toEqual([60, 1, 0.01]);
  });

  it('tells days from other folders', () => {
    expect(['2024-05-01', '20240501', '2024-05-41', 'A', '2024'].map(isDateName)).toEqual([true, true, false, false, false]);
  });
});

describe('times in broadcast headers', () => {
  const read = (originationDate: string, originationTime: string, timeReference: number) => {
    const info: AudioInfo = { container: 'RIFF', sampleRateHz: 48000, channelCount: 1, frameCount: 1, sampleFormat: 'pcm', bitsPerSample: 16, validBits: 16, warnings: [], broadcastTime: { originationDate, originationTime, timeReference } };
    const t = readBroadcastTime(info);
    return t && iso(t.timeMs);
  };
  it('counts samples since midnight (EBU Tech 3285, TimeReference)', () => expect(read('2024-05-01', '06:00:00', 48000 * 21600 + 24000)).toBe('2024-05-01T06:00:00.500Z'));
  it('takes every separator that EBU Tech 3285 allows', () => expect(read('2024_05.01', '06-00 00', 48000 * 21600)).toBe('2024-05-01T06:00:00.000Z'));
  it('believes the words where the samples were never filled in', () => expect(read('2024-05-01', '06:00:00', 0)).toBe('2024-05-01T06:00:00.000Z'));
  it('finds nothing in empty fields', () => expect([read('', '', 0), read('2024-05-01', '', 0), read('0000-00-00', '00:00:00', 0)]).toEqual([undefined, undefined, undefined]));
});
