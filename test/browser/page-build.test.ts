import { closeSync, cpSync, ftruncateSync, openSync, readFileSync, rmSync, writeFileSync, writeSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { build } from 'esbuild';
import { chromium, type Browser, type Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { buildWavHeader } from '../../src/audio/wav-writer.js';
import { createNoise } from '../audio/build-files.js';
import { buildFlac } from '../audio/build-flac.js';
import { newFolder, runCli } from '../cli/run-cli.js';
import { findChromium } from './find-chromium.js';
import { serveFolder } from './serve-folder.js';
import { writeScene } from './small-scene.js';

const root = fileURLToPath(new URL('../../', import.meta.url)).replace(/[\\/]$/, '');
const executablePath = findChromium();
if (!executablePath) console.warn('test/browser: SKIPPED the tests in a page, for no Chromium was found in PATH or the usual places (Debian: apt-get install chromium)');

const FLAGS = ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking', '--disable-component-update', '--disable-sync'];
const TABLES = ['calls.csv', 'sounds.csv', 'clock.csv', 'tracks.csv', 'datapackage.json', 'csv-metadata.json'] as const;
const BIRDS = ['blue', 'green', 'red', 'white'];

type Library = typeof import('../../src/browser/index.js');
/** Inside the page. */
declare const volary: Library;

describe('bundle', () => {
  it.each(['index.js', 'cell-worker.js'])('%s is one file that imports nothing', async (name) => {
    const imports: string[] = [];
    const list = (path: string): { path: string; external: true } => { imports.push(path); return { path, external: true }; };
    const entry = join(root, 'dist', 'browser', name);
    await build({
      entryPoints: [entry], bundle: true, write: false, format: 'esm', platform: 'neutral', logLevel: 'silent', outdir: root,
      plugins: [{ name: 'list', setup: (b) => b.onResolve({ filter: /.*/ }, (a) => (a.kind === 'entry-point' ? undefined : list(a.path))) }],
    });
    expect(imports).toEqual([]);
    expect(readFileSync(entry, 'utf8').match(/["'`]node:\w+/g)).toBeNull();
  });
});

describe.skipIf(!executablePath)('in Chromium', () => {
  const folder = newFolder();
  const asked: string[] = [];
  let browser: Browser;
  let page: Page;
  let server: Awaited<ReturnType<typeof serveFolder>>;
  const inNode = new Map<string, Record<string, string>>();

  beforeAll(async () => {
    server = await serveFolder(root);
    browser = await chromium.launch({ executablePath, headless: true, args: FLAGS });
    page = await browser.newPage();
    page.on('request', (r) => asked.push(r.url()));
    await page.goto(`${server.address}/`);
    await page.waitForFunction(() => 'volary' in globalThis);
    for (const recorders of [1, 2] as const) {
      const study = join(folder, `scene${recorders}`);
      writeScene(study, 12, recorders);
      expect(runCli(['draft', study, '-o', join(study, 'study.json')])).toMatchObject({ status: 0 });
      expect(runCli(['attribute', join(study, 'study.json'), '--out', join(study, 'out'), '--workers', '1'])).toMatchObject({ status: 0 });
      inNode.set(study, Object.fromEntries(TABLES.map((file) => [file, readFileSync(join(study, 'out', file), 'utf8')])));
    }
  });

  afterAll(async () => {
    await browser?.close();
    await server?.close();
    rmSync(folder, { recursive: true, force: true });
  });

  const choose = (scene: string): Promise<void> => page.setInputFiles('#files', [...BIRDS.map((b) => `${b}.wav`), 'channels.csv'].map((name) => join(folder, scene, name)));
  const callRows = (tables: Record<string, string>): string[][] => tables['calls.csv'].trimEnd().split('\n').slice(1).map((row) => row.split(','));

  it('finds calls of every bird in Node', () => {
    expect(inNode.size).toBe(2);
    for (const tables of inNode.values()) {
      expect(callRows(tables).length).toBeGreaterThan(12);
      expect([...new Set(callRows(tables).map((row) => row[1]))]).toEqual(expect.arrayContaining(BIRDS));
    }
  });

  it.each([['scene1', 0], ['scene1', 3], ['scene2', 2]])('writes the same bytes as Node: files of %s with %i workers', async (scene, workers) => {
    await choose(scene);
    const { notes, stages, ...tables } = await page.evaluate(async (o) => {
      const stages: string[] = [];
      const files = (document.getElementById('files') as HTMLInputElement).files!;
      const result = await volary.attributeFiles(files, { ...o, onProgress: (stage, done, total) => { if (done === total) stages.push(stage); } });
      return { ...volary.formatTables(result, result.manifest.name), stages: stages.join(' '), notes: [...result.draftNotes, ...result.problems.map((p) => p.text)].join('\n') };
    }, { workers, name: scene });
    expect(tables).toEqual(inNode.get(join(folder, scene)));
    expect(stages).toMatch(/survey.*extraction/);
    expect(notes.split('\n').filter((n) => !/\bends\b/.test(n)).join()).toBe('');
  });

  it('takes a list that says which file is whose, in pieces', async () => {
    await choose('scene1');
    const rows = await page.evaluate(async () => {
      const files = [...(document.getElementById('files') as HTMLInputElement).files!].filter((f) => f.name.endsWith('.wav'));
      const list = files.map((file) => ({ bird: file.name.replace('.wav', ''), file }));
      const result = await volary.attributeFiles(list, { workers: 0, startUtc: '2031-05-01T06:00:00Z' });
      return result.calls.map((c) => [c.bird, c.onsetUtc.slice(0, 17), c.onsetSec.toFixed(6)]);
    });
    expect(rows).toEqual(callRows(inNode.get(join(folder, 'scene1'))!).map((row) => [row[1], '2031-05-01T06:00:', row[2]]));
  });

  it('drafts a folder and follows the manifest that a person made of it', async () => {
    const chosen = join(folder, 'aviary');
    cpSync(join(folder, 'scene1'), join(chosen, 'day'), { recursive: true, filter: (path) => !/out$|\.json$|\.csv$/.test(path) });
    writeFileSync(join(chosen, '.hidden.wav'), 'no sound');
    writeFileSync(join(chosen, 'notes.txt'), 'no sound');
    await page.setInputFiles('#folder', chosen);
    const found = await page.evaluate(async () => {
      const files = (document.getElementById('folder') as HTMLInputElement).files!;
      const { manifest, unusable } = await volary.draftFiles(files);
      manifest!.tracks = manifest!.tracks.filter((t) => t.bird !== 'white').map((t) => ({ ...t, bird: t.bird.toUpperCase() }));
      const { calls, birds } = await volary.attributeFiles(files, { manifest, workers: 1 });
      return { name: manifest!.name, paths: manifest!.tracks.map((t) => t.files[0].path), unusable, birds, called: [...new Set(calls.map((c) => c.bird))] };
    });
    expect(found).toMatchObject({ name: 'aviary', unusable: [], paths: ['day/blue.wav', 'day/green.wav', 'day/red.wav'], birds: ['BLUE', 'GREEN', 'RED'] });
    expect(found.called).toEqual(expect.arrayContaining(['BLUE', 'GREEN', 'RED']));
  });

  it('reads FLAC', async () => {
    const noise = createNoise();
    const samples = Array.from({ length: 200 }, () => Math.round(8000 * noise()));
    const { bytes } = buildFlac([samples, samples.map((v) => -v)], { blockFrames: 64, coding: 'rice' });
    const read = await page.evaluate(async (content) => {
      const reader = await volary.openAudioBlob(new Blob([Uint8Array.from(content)]), 'a.flac');
      const into = [new Float32Array(200), new Float32Array(200)];
      const count = await reader.readFrames(0, 200, into);
      return { count, lost: reader.lostFrames, left: Array.from(into[0], (v) => v * 32768), right: Array.from(into[1], (v) => v * -32768) };
    }, [...bytes]);
    expect(read).toEqual({ count: 200, lost: 0, left: samples, right: samples });
  });

  it('attributes tracks in memory, in the page and in workers, alike', async () => {
    await choose('scene1');
    const [inPage, inWorkers] = await page.evaluate(async () => {
      const files = [...(document.getElementById('files') as HTMLInputElement).files!].filter((f) => f.name.endsWith('.wav'));
      const signals = await Promise.all(files.map(async (file) => {
        const reader = await volary.openAudioBlob(file);
        const samples = new Float32Array(reader.info.frameCount);
        await reader.readFrames(0, samples.length, [samples]);
        return samples;
      }));
      const input = { birds: files.map((f) => f.name.replace('.wav', '')), signals, sampleRateHz: 32000 };
      const runs = [];
      for (const workers of [0, 2]) runs.push(volary.formatTables(await volary.attributeTracks(input, { workers }), 'x')['calls.csv']);
      return runs;
    });
    expect(inPage).toBe(inNode.get(join(folder, 'scene1'))!['calls.csv']);
    expect(inWorkers).toBe(inPage);
  });

  it.each([0, 1])('stops when asked, with %i workers', async (workers) => {
    await choose('scene1');
    const outcome = await page.evaluate(async (count) => {
      const files = (document.getElementById('files') as HTMLInputElement).files!;
      const controller = new AbortController();
      let later = 0;
      const onProgress = (): void => { if (controller.signal.aborted) later++; controller.abort(); };
      const error = await volary.attributeFiles(files, { workers: count, signal: controller.signal, onProgress }).then(() => undefined, (e: unknown) => e);
      return { code: error instanceof volary.VolaryError ? error.code : String(error), later };
    }, workers);
    expect(outcome).toEqual({ code: 'interrupted', later: 0 });
  });

  it('tells in one line what is wrong', async () => {
    await page.setInputFiles('#files', [{ name: 'red.wav', mimeType: 'audio/wav', buffer: Buffer.from('this is a letter, not a sound') }]);
    const lines = await page.evaluate(async () => {
      const files = (document.getElementById('files') as HTMLInputElement).files!;
      const tell = (work: Promise<unknown>): Promise<string> => work.then(() => 'no error', (e: Error) => `${e.name} ${e.message}`);
      const silence = [new Float32Array(32000), new Float32Array(32000)];
      return [
        await tell(volary.attributeFiles(files)),
        await tell(volary.attributeTracks({ birds: ['red', 'red'], signals: silence, sampleRateHz: 32000 })),
        await tell(volary.attributeTracks({ birds: ['red', 'blue'], signals: silence, sampleRateHz: 32000 }, { kernels: '/nowhere.wasm' })),
        await tell(volary.attributeTracks({ birds: ['red', 'blue'], signals: silence, sampleRateHz: 32000 }, { kernels: new Uint8Array(8) })),
      ];
    });
    expect(lines[0]).toMatch(/^VolaryError no file can be used; got "red\.wav".*not a sound file/);
    expect(lines[1]).toMatch(/^VolaryError .*tracks\[1\]\.bird.*has a track already/);
    expect(lines[2]).toMatch(/^VolaryError \/nowhere\.wasm: the kernels cannot be loaded; got status 404/);
    expect(lines[3]).toMatch(/^VolaryError the kernels are not a WebAssembly module/);
    for (const line of lines) expect(line).not.toContain('\n');
  });

  it('reads on beyond 4 GiB', async () => {
    const frameCount = 2 ** 31 + 2 ** 27;
    const header = buildWavHeader({ sampleRateHz: 48000, channelCount: 1, encoding: 'pcm16', frameCount });
    const path = join(folder, 'long.wav');
    // Sparse: the disk holds the header and the last two frames only.
    const file = openSync(path, 'w');
    writeSync(file, header);
    writeSync(file, Int16Array.of(16384, -8192) as unknown as Uint8Array, 0, 4, header.length + 2 * frameCount - 4);
    ftruncateSync(file, header.length + 2 * frameCount);
    closeSync(file);
    await page.setInputFiles('#files', path);
    const found = await page.evaluate(async () => {
      const reader = await volary.openAudioBlob((document.getElementById('files') as HTMLInputElement).files![0]);
      const { frameCount: frames, container, warnings } = reader.info;
      const end = new Float32Array(4);
      const count = await reader.readFrames(frames - 4, 4, [end]);
      return { frames, container, warnings, count, end: [...end] };
    });
    expect(found).toEqual({ frames: frameCount, container: 'RF64', warnings: [], count: 4, end: [0, 0, 0.5, -0.25] });
  });

  it('asked nothing of any other machine', () => {
    expect(asked.length).toBeGreaterThan(3);
    expect(asked.filter((url) => !url.startsWith(`${server.address}/`) && !url.startsWith('blob:'))).toEqual([]);
  });
});
