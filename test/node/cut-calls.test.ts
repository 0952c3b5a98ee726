import { mkdtemp, readdir, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { WaveFile } from 'wavefile';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { chooseClips } from '../../src/analysis/clips/choose-clips.js';
import { buildWavFile } from '../../src/audio/wav-writer.js';
import { measureCallBand } from '../../src/evidence/measure-call-band.js';
import { clipsToFolder, requireOtherFolder } from '../../src/node/clips-to-folder.js';
import { openAudioFile } from '../../src/node/study-files.js';
import type { CallRow, ClockRow } from '../../src/schema/rows.js';
import { parseCsv } from '../../src/table/csv-table.js';
import { regionTable } from '../../src/table/region-table.js';
import { makeNoise } from '../study/make-wav.js';

const RATE = 8000, FRAMES = 4 * RATE;
const call = (callId: number, bird: string, onsetSec: number, offsetSec: number, more: Partial<CallRow> = {}): CallRow => ({
  callId, bird, onsetSec, offsetSec, onsetUtc: '', probability: 0.95, track: bird, levelDb: -20, snrDb: 30, peakHz: 900, overlaps: 0, runnerUp: '', runnerUpProbability: NaN, ...more,
});
// Noise on the grid of 16 bits, so that a cut must come back exactly.
const noise = (seed: number): Float32Array => makeNoise(FRAMES, seed, 0.3).map((v) => Math.floor(v * 32768) / 32768);
const red = noise(1), blue = noise(2);

let folder: string, study: string;
/** Blue's recorder runs 0.25 s ahead of the reference. */
const clock: ClockRow[] = [0, 4].map((tRefSec) => ({ recorder: '2', tRefSec, offsetSec: 0.25, ppm: 0, uncertaintySec: 0 }));
beforeAll(async () => {
  folder = await mkdtemp(join(tmpdir(), 'volary-'));
  study = join(folder, 'study.json');
  await writeFile(join(folder, 'red.wav'), buildWavFile({ sampleRateHz: RATE, encoding: 'pcm16' }, [red]));
  await writeFile(join(folder, 'blue.wav'), buildWavFile({ sampleRateHz: RATE, encoding: 'pcm24' }, [blue]));
  const track = (bird: string, recorder: string, more: object = {}) => ({ bird, recorder, files: [{ path: `${bird}.wav`, channel: 1, ...more }] });
  await writeFile(study, JSON.stringify({ volary: 1, name: 'two', start: '2031-05-01T06:00:00Z', recorders: [{ name: '1' }, { name: '2' }], tracks: [track('red', '1'), track('blue', '2')] }));
});
afterAll(() => rm(folder, { recursive: true, force: true }));

const calls = [call(7, 'red', 1, 1.1), call(8, 'blue', 2, 2.15, { snrDb: 5 }), call(9, 'none', 3, 3.05, { track: 'red' }), call(10, 'red', 0.01, 0.06), call(11, 'blue', 1, 1.1, { probability: 0.89 })];
const options = { calls, clock, marginSec: 0.05, threshold: 0.9 };

async function readSamples(path: string): Promise<{ samples: Float32Array; bits: number }> {
  const reader = await openAudioFile(path), samples = new Float32Array(reader.info.frameCount);
  await reader.readFrames(0, samples.length, [samples]);
  await reader.close();
  return { samples, bits: reader.info.bitsPerSample };
}

describe('clips', () => {
  it('hold the very samples of the recording, on its own clock, with the margin', async () => {
    const out = join(folder, 'out');
    const result = await clipsToFolder(study, out, { ...options });
    expect(result).toEqual({ clips: 4, birds: { red: 2, blue: 1, none: 1 }, skipped: 0, folder: out, older: 0, complete: true });
    expect((await readdir(out)).sort()).toEqual(['blue', 'csv-metadata.json', 'datapackage.json', 'none', 'red', 'regions.csv']);
    const cut = async (path: string): Promise<{ samples: Float32Array; bits: number }> => readSamples(join(out, path));
    expect(await cut('red/red-000007.wav')).toEqual({ samples: red.slice(7600, 9200), bits: 16 });
    expect(await cut('blue/blue-000008.wav')).toEqual({ samples: blue.slice(17600, 19600), bits: 24 });
    expect(await cut('none/none-000009.wav')).toEqual({ samples: red.slice(23600, 24800), bits: 16 });
    // The margin ends where the recording starts.
    expect(await cut('red/red-000010.wav')).toEqual({ samples: red.slice(0, 880), bits: 16 });
    const rows = parseCsv(regionTable, await readFile(join(out, 'regions.csv'), 'utf8'), 'regions.csv');
    expect(rows.map((r) => [r.isROIOf, r.startTimeSec, r.endTimeSec, r.mediaDurationSec, r.organismName, r.startTimestamp])).toEqual([
      ['red/red-000010.wav', 0.01, 0.06, 0.11, 'red', '2031-05-01T06:00:00.010000Z'],
      ['red/red-000007.wav', 0.05, 0.15, 0.2, 'red', '2031-05-01T06:00:01.000000Z'],
      ['blue/blue-000008.wav', 0.05, 0.2, 0.25, 'blue', '2031-05-01T06:00:02.000000Z'],
      ['none/none-000009.wav', 0.05, 0.1, 0.15, 'none', '2031-05-01T06:00:03.000000Z'],
    ]);
    // Terms of Audiovisual Core (TDWG), written as they are spelled there.
    expect((await readFile(join(out, 'regions.csv'), 'utf8')).split('\n')[0]).toBe('identifier,isROIOf,startTime,endTime,startTimestamp,endTimestamp,freqLow,freqHigh,mediaDuration,organismName,probability,call_id,onset_s');
    // A call 5 dB above the floor has no band that could be told from the floor's.
    expect(rows.map((r) => Number.isFinite(r.freqLowHz))).toEqual([true, true, false, true]);
  });

  // 'cue ' and LIST 'adtl' with 'labl' and 'ltxt': Microsoft/IBM, 'Multimedia Programming Interface and Data Specifications 1.0' (1991).
  it('mark the call inside by a cue point with label and length', async () => {
    const out = join(folder, 'marked');
    await clipsToFolder(study, out, { ...options, birds: ['red'] });
    const bytes = new Uint8Array(await readFile(join(out, 'red', 'red-000007.wav')));
    const view = new DataView(bytes.buffer), text = (at: number, length: number): string => String.fromCharCode(...bytes.subarray(at, at + length));
    const cue = 44 + 2 * 1600;
    expect([text(cue, 4), view.getUint32(cue + 4, true), view.getUint32(cue + 8, true), view.getUint32(cue + 12, true), view.getUint32(cue + 16, true)]).toEqual(['cue ', 28, 1, 1, 400]);
    expect([text(cue + 20, 4), view.getUint32(cue + 24, true), view.getUint32(cue + 28, true), view.getUint32(cue + 32, true)]).toEqual(['data', 0, 0, 400]);
    const list = cue + 36;
    expect([text(list, 4), text(list + 8, 8), view.getUint32(list + 20, true), text(list + 24, 14)]).toEqual(['LIST', 'adtllabl', 1, 'red 7 p=0.9500']);
    // 4 + 15 bytes with the final NUL, padded to even.
    const ltxt = list + 12 + 8 + 20;
    expect([view.getUint32(list + 16, true), text(ltxt, 4), view.getUint32(ltxt + 8, true), view.getUint32(ltxt + 12, true), text(ltxt + 16, 4)]).toEqual([19, 'ltxt', 1, 800, 'rgn ']);
    // A reader of others finds the same point, in milliseconds.
    expect(new WaveFile(bytes).listCuePoints()).toEqual([expect.objectContaining({ label: 'red 7 p=0.9500', position: 50, end: 150 })]);
  });

  it('are not replaced without being told; older ones are counted', async () => {
    const out = join(folder, 'again');
    await clipsToFolder(study, out, { ...options });
    await expect(clipsToFolder(study, out, { ...options })).rejects.toMatchObject({ code: 'exists' });
    expect(await clipsToFolder(study, out, { ...options, birds: ['red'], most: 1, overwrite: true })).toMatchObject({ clips: 1, older: 1 });
    await expect(requireOtherFolder(folder, `${folder}/`)).rejects.toMatchObject({ code: 'bad-option' });
  });

  it('are left out where the track has no sound, and where a clock is missing all is refused', async () => {
    const late = [call(1, 'red', 3.99, 4.2), call(2, 'red', 5, 5.1), call(3, 'red', 1, 1.2, { track: 'gone' })];
    expect(await clipsToFolder(study, join(folder, 'late'), { ...options, calls: late })).toMatchObject({ clips: 1, skipped: 2 });
    expect((await readSamples(join(folder, 'late', 'red', 'red-000001.wav'))).samples).toEqual(red.slice(31520));
    await expect(clipsToFolder(study, join(folder, 'clockless'), { ...options, clock: [] })).rejects.toMatchObject({ code: 'missing' });
  });
});

describe('the choice', () => {
  it('is by bird and probability, spread evenly, in order of time', () => {
    const many = Array.from({ length: 10 }, (_, i) => call(i, 'red', 10 - i, 10.1 - i));
    expect(chooseClips(many, { threshold: 0.9, most: 2 }).map((c) => c.onsetSec)).toEqual([3, 8]);
    expect(chooseClips(calls, { threshold: 0.9, birds: ['blue', 'none'] }).map((c) => c.callId)).toEqual([8, 9]);
    expect(chooseClips(calls, { threshold: 0.89 })).toHaveLength(5);
    expect(chooseClips([], { threshold: 0, birds: ['green'] }, ['green'])).toEqual([]);
    expect(() => chooseClips(calls, { threshold: 0, birds: ['green'] }, ['red'])).toThrow(expect.objectContaining({ code: 'bad-option' }) as Error);
  });
});

describe('the band of a call', () => {
  it('spans its tones to a bin, and leaves out what is more than 20 dB down', () => {
    const tones = (...parts: [number, number][]): Float32Array => Float32Array.from({ length: 1600 }, (_, i) => parts.reduce((s, [hz, size]) => s + size * Math.sin((2 * Math.PI * hz * i) / RATE), 0));
    const bin = RATE / 512;
    const [low, high] = measureCallBand(tones([1000, 0.2], [2500, 0.1], [3500, 0.01]), RATE)!;
    // A Hann window spreads a tone over two bins to each side at most before it is 20 dB down.
    expect(Math.abs(low - 1000)).toBeLessThan(2.5 * bin);
    expect(Math.abs(high - 2500)).toBeLessThan(2.5 * bin);
    expect(measureCallBand(tones([1000, 0.2], [2500, 0.1]), RATE, [2000, 4000])![0]).toBeGreaterThan(2000);
    expect(measureCallBand(new Float32Array(900), RATE)).toBeUndefined();
  });
});
