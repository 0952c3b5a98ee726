import { copyFileSync, mkdtempSync, readFileSync, truncateSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { buildWavFile } from '../../src/audio/wav-writer.js';
import { draftFolder } from '../../src/node/draft-folder.js';
import { loadStudy } from '../../src/node/study-files.js';
import { checkStudy } from '../../src/study/check-study.js';
import type { CheckReport } from '../../src/study/check-study.js';
import { formatManifest } from '../../src/study/manifest.js';
import { StudyAudio } from '../../src/study/study-audio.js';
import { drawTimeline } from '../../src/study/timeline-picture.js';
import { makeNoise, makeWav } from './make-wav.js';

const RATE = 8000;

function writeTrack(folder: string, name: string, seed: number, sec = 3, change?: (x: Float32Array) => void): void {
  const samples = makeNoise(Math.round(sec * RATE), seed, 0.02);
  for (let i = 1; i < samples.length; i++) samples[i] += 0.8 * samples[i - 1];
  change?.(samples);
  writeFileSync(join(folder, name), makeWav([samples], RATE));
}

const newFolder = (): string => mkdtempSync(join(tmpdir(), 'volary-'));

function makeStudy(change?: (x: Float32Array) => void): string {
  const folder = newFolder();
  writeTrack(folder, 'red.wav', 1, 3, change);
  writeTrack(folder, 'blue.wav', 2);
  return folder;
}

async function draft(folder: string): Promise<void> {
  const path = join(folder, 'study.json');
  writeFileSync(path, formatManifest((await draftFolder(folder, path)).draft.manifest!));
}

async function check(folder: string): Promise<CheckReport & { picture: string }> {
  const study = await loadStudy(join(folder, 'study.json'));
  const audio = new StudyAudio(study.timeline, study.openReader);
  const report = await checkStudy({ manifest: study.manifest, headers: study.headers, timeline: study.timeline, audio, isFull: false });
  await audio.close();
  return { ...report, picture: drawTimeline(study.timeline, report, study.manifest.name, study.manifest.start) };
}

const kinds = (r: CheckReport): string[] => r.problems.map((p) => `${p.severity} ${p.kind} ${p.bird}`.trim());
const edit = (folder: string, from: string, to: string): void => writeFileSync(join(folder, 'study.json'), readFileSync(join(folder, 'study.json'), 'utf8').replace(from, to));

describe('checkStudy', () => {
  it('says nothing against sound tracks', async () => {
    const folder = makeStudy();
    await draft(folder);
    const r = await check(folder);
    expect([kinds(r), r.isFit, r.readShare]).toEqual([[], true, 1]);
    expect(r.picture).toMatch(/^<svg [^]*<\/svg>\n$/);
  });

  it.each<[string, (x: Float32Array) => void, string]>([
    ['clipping', (x) => { for (let i = 4000; i < 6000; i++) x[i] = Math.max(-0.3, Math.min(0.3, 8 * x[i])); }, 'clipping'],
    ['a constant part', (x) => { for (let i = 0; i < x.length; i++) x[i] += 0.1; }, 'dc'],
    ['hum', (x) => { for (let i = 0; i < x.length; i++) x[i] += 0.05 * Math.sin((2 * Math.PI * 50 * i) / RATE); }, 'hum'],
    ['silence', (x) => { x.fill(0, 4000, 9000); }, 'silence'],
    ['a lost link', (x) => { x.set(makeNoise(4000, 9, 0.8), 8000); }, 'dropout'],
    ['a very quiet track', (x) => { for (let i = 0; i < x.length; i++) x[i] *= 0.01; }, 'level'],
  ])('finds %s and still calls the study fit', async (_, change, kind) => {
    const folder = makeStudy(change);
    await draft(folder);
    const r = await check(folder);
    expect([kinds(r), r.isFit]).toEqual([[`warning ${kind} red`], true]);
  });

  it('calls a study not fit whose sample rate attribution cannot serve, and still looks at its tracks', async () => {
    const folder = newFolder();
    for (const [k, name] of ['red', 'blue'].entries()) writeFileSync(join(folder, `${name}.wav`), makeWav([makeNoise(4000, k + 1, 0.02)], 1000));
    await draft(folder);
    const r = await check(folder);
    expect([kinds(r), r.isFit]).toEqual([['error rate'], false]);
    expect(r.problems[0].text).toMatch(/1000 Hz; expected 2000 to 500000 Hz/);
    expect(r.tracks.map((t) => t.measures.readSec)).toEqual([4, 4]);
  });

  it('finds a whistle in the call band, with its frequency, on the track that has it', async () => {
    const folder = newFolder();
    writeTrack(folder, 'red.wav', 1, 8, (x) => { for (let i = 0; i < x.length; i++) x[i] += 0.05 * Math.sin((2 * Math.PI * 1500 * i) / RATE); });
    writeTrack(folder, 'blue.wav', 2, 8);
    await draft(folder);
    const r = await check(folder);
    expect([kinds(r), r.isFit]).toEqual([['warning steady red'], true]);
    // Lines are 8000 / 256 = 31.25 Hz apart, and 1500 Hz is one of them. The noise of these tracks itself rises towards the lower edge of the band.
    expect(r.problems[0].text).toMatch(/^"red": steady sound at 1453 to 1547 Hz and 1 other stretch, up to \d\d dB above the noise beside it, is \d\d(\.\d)? % of the noise:/);
  });

  it.each<[string, (folder: string) => void, string]>([
    ['a track without sound', (f) => writeTrack(f, 'red.wav', 1, 3, (x) => x.fill(0)), 'error silence red'],
    ['two tracks with the same sound', (f) => copyFileSync(join(f, 'blue.wav'), join(f, 'red.wav')), 'error duplicate red'],
    ['a file that is gone', (f) => edit(f, 'red.wav', 'gone.wav'), 'error unreadable red'],
    ['a file that is no sound', (f) => writeFileSync(join(f, 'red.wav'), 'hello'), 'error unreadable red'],
    ['another sample rate', (f) => writeFileSync(join(f, 'red.wav'), makeWav([makeNoise(RATE, 1)], 11025)), 'error rate red'],
    ['a channel that is not there', (f) => edit(f, '"red.wav", "channel": 1', '"red.wav", "channel": 2'), 'error channel red'],
  ])('calls a study with %s not fit, and still tells of the other track', async (_, spoil, kind) => {
    const folder = makeStudy();
    writeTrack(folder, 'green.wav', 7);
    await draft(folder);
    spoil(folder);
    const r = await check(folder);
    expect(r.isFit).toBe(false);
    expect(kinds(r)).toContain(kind);
    expect(r.tracks.map((t) => t.bird)).toEqual(expect.arrayContaining(['blue', 'green']));
  });

  const texts = (r: CheckReport): string[] => r.problems.map((p) => `${p.severity}: ${p.text}`);
  const writeFloats = (folder: string, change: (x: Float32Array) => void): void => {
    const samples = makeNoise(3 * RATE, 3, 0.02);
    change(samples);
    writeFileSync(join(folder, 'red.wav'), buildWavFile({ sampleRateHz: RATE, encoding: 'float32' }, [samples]));
  };

  it.each<[string, (x: Float32Array) => void, string[]]>([
    ['is silent', (x) => x.fill(0), ['error: "red": digital silence in 100 % of what was read: the track holds no sound']],
    ['holds nothing but NaN', (x) => x.fill(NaN), ['error: "red": digital silence in 100 % of what was read: the track holds no sound', 'warning: "red": 24000 samples are no numbers and were read as 0']],
    ['holds one NaN', (x) => { x[7] = NaN; }, ['warning: "red": 1 sample is no number and was read as 0']],
    ['holds numbers beyond all bounds', (x) => { for (let i = 0; i < x.length; i++) x[i] = 1e25 + 1e24 * x[i]; }, ['warning: "red": samples reach 500 dB above full scale: floats should lie within -1 and 1', 'warning: "red": the mean of all samples is more than 100 % of full scale and should be 0']],
  ])('of a track that %s says so in words and short numbers', async (_, change, wanted) => {
    const folder = makeStudy();
    writeFloats(folder, change);
    await draft(folder);
    const found = texts(await check(folder));
    for (const line of wanted) expect(found).toContain(line);
    expect(found.filter((t) => /\de\+?\d/.test(t))).toEqual([]);
  });

  it('tells of a truncated file and of unequal lengths', async () => {
    const folder = makeStudy();
    await draft(folder);
    truncateSync(join(folder, 'red.wav'), 44 + 2 * 20000);
    const r = await check(folder);
    expect(kinds(r)).toEqual(expect.arrayContaining(['warning header red', 'warning unequal red']));
    expect(r.isFit).toBe(true);
  });

  it('tells of gaps, overlaps and steps of the clock between files', async () => {
    const folder = newFolder();
    for (const [i, time] of ['060000', '060003', '060016', '060018'].entries()) writeTrack(folder, `red_20240501_${time}.wav`, i);
    for (const [i, time] of ['060000', '060003', '060006', '060009', '060012', '060015', '060018'].entries()) writeTrack(folder, `blue_20240501_${time}.wav`, 20 + i);
    await draft(folder);
    const first = await check(folder);
    expect(kinds(first)).toEqual(['warning gap red']);
    expect(first.picture).toContain('class="gap"');
    const manifest = JSON.parse(readFileSync(join(folder, 'study.json'), 'utf8'));
    const red = manifest.tracks.find((t: { bird: string }) => t.bird === 'red');
    red.files[1].start_s = 2;
    red.files[2].start_s = 10;
    writeFileSync(join(folder, 'study.json'), JSON.stringify(manifest));
    expect(kinds(await check(folder))).toEqual(expect.arrayContaining(['warning overlap red', 'warning gap red', 'warning clock-step red']));
  });
});
