import { appendFileSync } from 'node:fs';
import { link, mkdir, mkdtemp, readdir, readFile, symlink, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { beforeAll, describe, expect, it } from 'vitest';
import { buildWavFile } from '../../src/audio/wav-writer.js';
import type { createSeparatePool } from '../../src/node/separate-pool.js';
import { separateToFolder } from '../../src/node/separate-to-folder.js';
import { openAudioFile } from '../../src/node/study-files.js';
import { nameTrackFiles } from '../../src/node/track-files.js';
import type { CallRow } from '../../src/schema/rows.js';
import { takeCalls } from '../../src/separate/take-rows.js';
import { makeNoise } from '../kernels/support.js';

const RATE = 8000, FRAMES = 6 * RATE;

function makeCall(callId: number, bird: string, onsetSec: number, offsetSec: number): CallRow {
  return { callId, bird, onsetSec, offsetSec, onsetUtc: '', probability: 0.95, track: bird, levelDb: -20, snrDb: 30, peakHz: 900, overlaps: 0, runnerUp: '', runnerUpProbability: 0 };
}

/** Noise with tones of two callers, 12 dB softer on the other track. */
function makeTrack(own: number, seed: number): Float32Array {
  const noise = makeNoise(FRAMES, seed);
  return Float32Array.from(noise, (v, i) => {
    const t = i / RATE, red = (t >= 1 && t < 1.2) || (t >= 3 && t < 3.2) ? 0.2 : 0, blue = (t >= 2 && t < 2.2) || (t >= 4 && t < 4.2) ? 0.2 : 0;
    return 0.002 * v + (own === 0 ? 1 : 0.25) * red * Math.sin(5600 * t) + (own === 1 ? 1 : 0.25) * blue * Math.sin(8000 * t);
  });
}

let folder: string, study: string;
const calls = [makeCall(1, 'red', 1, 1.2), makeCall(2, 'blue', 2, 2.2), makeCall(3, 'red', 3, 3.2), makeCall(4, 'blue', 4, 4.2)];
beforeAll(async () => {
  folder = await mkdtemp(join(tmpdir(), 'volary-'));
  study = join(folder, 'study.json');
  await writeFile(join(folder, 'red.wav'), buildWavFile({ sampleRateHz: RATE, encoding: 'pcm16' }, [makeTrack(0, 3)]));
  await writeFile(join(folder, 'blue.wav'), buildWavFile({ sampleRateHz: RATE, encoding: 'pcm24' }, [makeTrack(1, 4).subarray(0, FRAMES - 100)]));
  const track = (bird: string) => ({ bird, recorder: '1', files: [{ path: `${bird}.wav`, channel: 1 }] });
  await writeFile(study, JSON.stringify({ volary: 1, name: 'two', recorders: [{ name: '1' }], tracks: [track('red'), track('blue')] }));
});

async function readAll(path: string): Promise<{ samples: Float32Array; info: Awaited<ReturnType<typeof openAudioFile>>['info'] }> {
  const reader = await openAudioFile(path), samples = new Float32Array(reader.info.frameCount);
  await reader.readFrames(0, samples.length, [samples]);
  await reader.close();
  return { samples, info: reader.info };
}

describe('separate to a folder', () => {
  it('writes one file per bird, as long and as deep as its track, changed only where the other calls', async () => {
    const out = join(folder, 'out');
    const result = await separateToFolder(study, out, { calls, clock: [], workers: 0 });
    expect(result.complete).toBe(true);
    expect((await readdir(out)).sort()).toEqual(['blue.wav', 'red.wav', 'separation.json']);
    for (const [bird, from, to, bits, frames] of [['red', 1.98, 2.36, 16, FRAMES], ['blue', 0.98, 1.36, 24, FRAMES - 100]] as const) {
      const before = await readAll(join(folder, `${bird}.wav`)), after = await readAll(join(out, `${bird}.wav`));
      expect(after.info).toMatchObject({ sampleRateHz: RATE, channelCount: 1, frameCount: frames, bitsPerSample: bits, sampleFormat: 'pcm' });
      const outside = before.samples.findIndex((v, i) => (i < from * RATE || i > to * RATE) && (i < (from + 2) * RATE || i > (to + 2) * RATE) && v !== after.samples[i]);
      expect(outside).toBe(-1);
      const power = (x: Float32Array): number => x.subarray(Math.round((from + 0.06) * RATE), Math.round((to - 0.2) * RATE)).reduce((s, v) => s + v * v, 0);
      expect(10 * Math.log10(power(before.samples) / power(after.samples))).toBeGreaterThan(10);
    }
    const record = JSON.parse(await readFile(join(out, 'separation.json'), 'utf8')) as { schema: number; calls: number; tracks: { bird: string; changedSec: number }[] };
    expect(record).toMatchObject({ schema: 1, calls: 4, study: '../study.json' });
    expect(record).not.toHaveProperty('folder');
    expect(record.tracks.every((t) => t.changedSec > 0.4 && t.changedSec < 1.2)).toBe(true);
  });

  it('refuses to write over tracks that are there, and does so when told', async () => {
    const out = join(folder, 'twice');
    await separateToFolder(study, out, { calls, clock: [], workers: 0 });
    const first = await readFile(join(out, 'red.wav'));
    await expect(separateToFolder(study, out, { calls: [], clock: [], workers: 0 })).rejects.toMatchObject({ code: 'exists' });
    expect(await readFile(join(out, 'red.wav'))).toEqual(first);
    await separateToFolder(study, out, { calls: [], clock: [], workers: 0, overwrite: true, encoding: 'float32' });
    expect((await readAll(join(out, 'red.wav'))).samples).toEqual((await readAll(join(folder, 'red.wav'))).samples);
  });

  it.each([
    ['in their own folder', async () => folder],
    ['through a link to their folder', async () => { const out = join(folder, 'linked'); await symlink(folder, out, 'junction'); return out; }],
    ['where a recording has a second name', async () => { const out = join(folder, 'second'); await mkdir(out); await link(join(folder, 'red.wav'), join(out, 'blue.wav')); return out; }],
  ])('never replaces the recordings that it reads: %s', async (_, makeOut) => {
    const out = await makeOut(), read = () => Promise.all(['red.wav', 'blue.wav', 'study.json'].map((name) => readFile(join(folder, name))));
    const before = await read(), listed = await readdir(out);
    for (const overwrite of [true, false]) {
      await expect(separateToFolder(study, out, { calls, clock: [], workers: 0, overwrite })).rejects.toMatchObject({
        code: 'exists', message: expect.stringMatching(/(red|blue)\.wav": is a recording of this study, which separate never replaces; choose another folder with --out/) as string,
      });
    }
    expect(await read()).toEqual(before);
    expect(await readdir(out)).toEqual(listed);
  });

  it('never replaces the manifest either', async () => {
    const place = await mkdtemp(join(tmpdir(), 'volary-')), manifest = join(place, 'separation.json');
    const track = (bird: string) => ({ bird, recorder: '1', files: [{ path: join(folder, `${bird}.wav`), channel: 1 }] });
    const text = JSON.stringify({ volary: 1, name: 'two', recorders: [{ name: '1' }], tracks: [track('red'), track('blue')] });
    await writeFile(manifest, text);
    await expect(separateToFolder(manifest, place, { calls, clock: [], workers: 0, overwrite: true })).rejects.toMatchObject({ code: 'exists', message: expect.stringContaining('is the manifest of this study') as string });
    expect([await readFile(manifest, 'utf8'), await readdir(place)]).toEqual([text, ['separation.json']]);
  });

  it('takes the widest format among the files of a track, and says where floats do not keep every bit', async () => {
    const place = await mkdtemp(join(tmpdir(), 'volary-')), manifest = join(place, 'study.json'), notes: string[] = [];
    const quiet = (seed: number): Float32Array[] => [Float32Array.from(makeNoise(RATE, seed), (v) => 0.01 * v)];
    await writeFile(join(place, 'a16.wav'), buildWavFile({ sampleRateHz: RATE, encoding: 'pcm16' }, quiet(1)));
    await writeFile(join(place, 'a24.wav'), buildWavFile({ sampleRateHz: RATE, encoding: 'pcm24' }, quiet(2)));
    // Integers in the place of floats: 32 bits each, the plain format.
    const wide = buildWavFile({ sampleRateHz: RATE, encoding: 'float32' }, quiet(3)), view = new DataView(wide.buffer, wide.byteOffset);
    view.setUint16(20, 1, true);
    for (let at = wide.length - 4 * RATE, n = 0; at < wide.length; at += 4, n++) view.setInt32(at, 1000 * n + 1, true);
    await writeFile(join(place, 'b32.wav'), wide);
    const track = (bird: string, names: string[]) => ({ bird, recorder: '1', files: names.map((path) => ({ path, channel: 1 })) });
    await writeFile(manifest, JSON.stringify({ volary: 1, name: 'wide', recorders: [{ name: '1' }], tracks: [track('a', ['a16.wav', 'a24.wav']), track('b', ['b32.wav'])] }));
    await separateToFolder(manifest, join(place, 'out'), { calls: [], clock: [], workers: 0, onNote: (text) => notes.push(text) });
    const [a, b] = [await readAll(join(place, 'out', 'a.wav')), await readAll(join(place, 'out', 'b.wav'))];
    expect([a.info.sampleFormat, a.info.bitsPerSample, b.info.sampleFormat, b.info.bitsPerSample]).toEqual(['pcm', 24, 'float', 32]);
    expect(a.samples.subarray(RATE)).toEqual((await readAll(join(place, 'a24.wav'))).samples);
    expect(b.samples).toEqual((await readAll(join(place, 'b32.wav'))).samples);
    expect(notes.filter((text) => text.startsWith('note'))).toEqual([expect.stringMatching(/^note: recordings of "b" are wider than .* keep 24 significant bits$/)]);
    notes.length = 0;
    await separateToFolder(manifest, join(place, 'told'), { calls: [], clock: [], workers: 0, encoding: 'pcm16', onNote: (text) => notes.push(text) });
    expect(notes.filter((text) => text.startsWith('note'))).toEqual([]);
  });

  it('leaves no half files where the study cannot be separated', async () => {
    const alone = join(folder, 'alone.json'), out = join(folder, 'none');
    await writeFile(alone, JSON.stringify({ volary: 1, name: 'one', recorders: [{ name: '1' }], tracks: [{ bird: 'red', recorder: '1', files: [{ path: 'red.wav', channel: 1 }] }] }));
    await expect(separateToFolder(alone, out, { calls, clock: [], workers: 0 })).rejects.toMatchObject({ code: 'not-fit' });
    await expect(readdir(out)).rejects.toThrow();
  });
});

describe('separation on worker threads', () => {
  /** 45 s, so that there are three blocks; calls alone, together, and over the edge between two blocks. */
  const spans = [[0, 3, 3.2], [1, 5, 5.2], [0, 12, 12.2], [1, 12.1, 12.3], [1, 19.9, 20.15], [0, 20.05, 20.25], [0, 30, 30.2], [1, 41, 41.2], [0, 41.1, 41.3]] as const;

  const names = ['red', 'blue'], rows = spans.map(([track, from, to], n) => makeCall(n, names[track], from, to));

  async function writeStudy(): Promise<{ place: string; manifest: string }> {
    const place = await mkdtemp(join(tmpdir(), 'volary-')), manifest = join(place, 'study.json');
    for (const own of [0, 1]) {
      const samples = makeNoise(45 * RATE, 7 + own).map((v) => 0.002 * v);
      for (const [track, from, to] of spans) for (let i = Math.round(from * RATE); i < to * RATE; i++) samples[i] += (own === track ? 0.2 : 0.05) * Math.sin(((track ? 8000 : 5600) * i) / RATE);
      await writeFile(join(place, `${names[own]}.wav`), buildWavFile({ sampleRateHz: RATE, encoding: 'pcm16' }, [Float32Array.from(samples)]));
    }
    await writeFile(manifest, JSON.stringify({ volary: 1, name: 'two', recorders: [{ name: '1' }], tracks: names.map((bird) => ({ bird, recorder: '1', files: [{ path: `${bird}.wav`, channel: 1 }] })) }));
    return { place, manifest };
  }

  it.each([1, 2])('gives the same bytes with %i as without any', async (workers) => {
    const { separateToFolder: separateBuilt } = await import('../../dist/node/separate-to-folder.js') as { separateToFolder: typeof separateToFolder };
    const { place, manifest } = await writeStudy();
    await separateBuilt(manifest, join(place, 'alone'), { calls: rows, clock: [], workers: 0, encoding: 'float32' });
    await separateBuilt(manifest, join(place, 'threads'), { calls: rows, clock: [], workers, encoding: 'float32' });
    for (const name of names) {
      const alone = await readFile(join(place, 'alone', `${name}.wav`));
      expect((await readFile(join(place, 'threads', `${name}.wav`))).equals(alone)).toBe(true);
      expect(alone.equals(await readFile(join(place, `${name}.wav`)))).toBe(false);
    }
  });

  it('tells once of a file that changes meanwhile, whoever finds it out', async () => {
    const { separateToFolder: separateBuilt } = await import('../../dist/node/separate-to-folder.js') as { separateToFolder: typeof separateToFolder };
    const { place, manifest } = await writeStudy(), notes: string[] = [];
    let isChanged = false;
    const onProgress = (): void => { if (!isChanged) appendFileSync(join(place, 'blue.wav'), 'more'); isChanged = true; };
    const result = await separateBuilt(manifest, join(place, 'out'), { calls: rows, clock: [], workers: 1, onNote: (text) => notes.push(text), onProgress });
    expect(result).toMatchObject({ complete: false, summary: { problems: 1 } });
    expect(notes).toEqual([expect.stringMatching(/^error: .*blue\.wav": file changed while it was being read/)]);
  });

  it('tells of a file that fails in a worker alone', async () => {
    const { createSeparatePool: createBuilt } = await import('../../dist/node/separate-pool.js') as { createSeparatePool: typeof createSeparatePool };
    const { place, manifest } = await writeStudy();
    const pool = createBuilt(manifest, { calls: takeCalls(rows, names), sounds: [], clock: [{ knotSec: [0], offsetSec: [0], uncertaintySec: [0] }] }, 1);
    expect((await pool.separate(0)).edits.length).toBeGreaterThan(5);
    expect([...pool.problems]).toEqual([]);
    appendFileSync(join(place, 'blue.wav'), 'more');
    await pool.separate(1);
    expect([...pool.problems]).toEqual([expect.stringMatching(/blue\.wav": file changed while it was being read/)]);
    await pool.close();
  });
});

describe('names of track files', () => {
  it('are allowed everywhere and differ without regard to case', () => {
    expect(nameTrackFiles(['red', 'Red', 'a/b', 'a\\b', '..', 'x.'])).toEqual(['red.wav', 'Red-2.wav', 'a_b.wav', 'a_b-2.wav', '_.wav', 'x_.wav']);
  });
});
