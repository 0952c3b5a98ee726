import { spawnSync } from 'node:child_process';
import { readFileSync, readdirSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { chromium, type Browser } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { findChromium } from '../browser/find-chromium.js';
import { serveFolder } from '../browser/serve-folder.js';
import { writeScene } from '../browser/small-scene.js';
import { newFolder, runCli } from '../cli/run-cli.js';

const root = fileURLToPath(new URL('../../', import.meta.url)).replace(/[\\/]$/, '');
const examples = join(root, 'docs', 'examples');
const folder = newFolder();
const scene = join(folder, 'scene');
const BIRDS = ['blue', 'green', 'red', 'white'];
const RATE = 32000;
let rows: string[][] = [];
let table = '';

/** Runs an example with this Node, in the checkout: its own name leads to its build there, as for a project that has it installed. */
function runExample(path: string, args: string[], input?: Uint8Array): { status: number | null; out: string; err: string } {
  const r = spawnSync(process.execPath, [join(examples, path), ...args], { cwd: root, input, encoding: 'utf8', maxBuffer: 2 ** 26 });
  return { status: r.status, out: r.stdout, err: r.stderr };
}

beforeAll(() => {
  writeScene(scene, 12, 1);
  expect(runCli(['draft', scene, '-o', join(scene, 'study.json')], { timeoutMs: 200_000 })).toMatchObject({ status: 0 });
  expect(runCli(['attribute', join(scene, 'study.json'), '--out', join(scene, 'out'), '--workers', '1'], { timeoutMs: 200_000 })).toMatchObject({ status: 0 });
  table = readFileSync(join(scene, 'out', 'calls.csv'), 'utf8');
  rows = table.trimEnd().split('\n').slice(1).map((line) => line.split(','));
  expect(rows.length).toBeGreaterThan(12);
}, 300_000);

afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe('docs/examples/node', () => {
  /** The tracks of the scene as one stream of interleaved samples. */
  function interleave(): Uint8Array {
    const tracks = BIRDS.map((bird) => readFileSync(join(scene, `${bird}.wav`)).subarray(44));
    const out = Buffer.alloc(tracks.length * tracks[0].length);
    for (let i = 0; i < tracks[0].length; i += 2) tracks.forEach((t, k) => { t.copy(out, i * tracks.length + 2 * k, i, i + 2); });
    return out;
  }

  it('gives the calls of the command line, one line each', () => {
    const { status, out, err } = runExample('node/stream-calls.mjs', [BIRDS.join(','), String(RATE)], interleave());
    expect([status, err]).toEqual([0, '']);
    const calls = out.trimEnd().split('\n').map((line) => JSON.parse(line) as { bird: string; onsetSec: number; probability: number });
    expect(calls.map((c) => [c.bird, c.onsetSec.toFixed(6), c.probability.toFixed(4)])).toEqual(rows.map((r) => [r[1], r[2], r[5]]));
  }, 300_000);

  it('says how to use it', () => {
    expect(runExample('node/stream-calls.mjs', ['red'])).toEqual({ status: 2, out: '', err: 'usage: node stream-calls.mjs red,blue,green 32000 < samples.raw\n' });
  });
});

describe('docs/examples/raw-wasm', () => {
  // A tone of amplitude .5 in the middle of a bin: .5^2 / 4 * (sum w)^2 / sum w^2 = 21.33, which is 13.29 dB; the second track is 20 dB below.
  const told = 'track 1: 3000.0 Hz, 13.29 dB\ntrack 2: 3000.0 Hz, -6.71 dB\n';
  const kernels = join(root, 'dist', 'kernels.wasm');
  const python = ['python3', 'python'].find((name) => spawnSync(name, ['-c', 'import wasmtime']).status === 0);
  if (!python) console.warn("test/embedding: SKIPPED the kernels from Python, for there is no Python that has the package wasmtime ('pip install wasmtime')");

  it('runs from a host that knows nothing but WebAssembly', () => {
    expect(runExample('raw-wasm/host.mjs', [kernels])).toEqual({ status: 0, out: told, err: '' });
    expect(readFileSync(join(examples, 'raw-wasm', 'host.mjs'), 'utf8').match(/from '[^']+'/g)).toEqual(["from 'node:fs/promises'"]);
    expect(readFileSync(join(examples, 'raw-wasm', 'README.md'), 'utf8')).toContain(told.trimEnd().replace('\n', '\n    '));
  });

  it.skipIf(!python)('runs from Python', () => {
    const r = spawnSync(python!, [join(examples, 'raw-wasm', 'host.py'), kernels], { encoding: 'utf8' });
    expect([r.status, r.stdout.replaceAll('\r\n', '\n')]).toEqual([0, told]);
  });
});

const executablePath = findChromium();
if (!executablePath) console.warn('test/embedding: SKIPPED the examples in a page, for no Chromium was found');

describe.skipIf(!executablePath)('examples in a page', () => {
  let browser: Browser;
  beforeAll(async () => { browser = await chromium.launch({ executablePath, headless: true, args: ['--no-sandbox', '--disable-gpu', '--no-first-run', '--disable-background-networking', '--disable-component-update'] }); }, 200_000);
  afterAll(() => browser?.close());

  it.each([['bundled-page', 'bundled-page/build.mjs', []], ['plain-page', 'copy-library.mjs', ['plain-page']], ['worker', 'copy-library.mjs', ['worker']]])('%s writes the table of the command line', async (name, script, args) => {
    const out = join(folder, name);
    expect(runExample(script, [...args, out])).toEqual({ status: 0, out: '', err: '' });
    expect(readdirSync(out).filter((file) => file.endsWith('.mjs'))).toEqual([]);
    const server = await serveFolder(out);
    const page = await browser.newPage();
    try {
      const complaints: string[] = [];
      page.on('console', (m) => { if (m.type() === 'error') complaints.push(m.text()); });
      page.on('pageerror', (e) => complaints.push(e.message));
      await page.goto(`${server.address}/index.html`);
      await page.setInputFiles('#files', [...BIRDS.map((b) => `${b}.wav`), 'channels.csv'].map((file) => join(scene, file)));
      await page.waitForFunction(() => /calls$/.test(document.querySelector('#state')!.textContent!), undefined, { timeout: 200_000 });
      expect(await page.textContent('#state')).toBe(`${rows.length} calls`);
      expect(await page.$$eval('#calls li', (items) => items.map((i) => i.textContent))).toEqual(rows.map((r) => `${Number(r[2]).toFixed(3)} s ${r[1]} (${r[5]})`));
      const [download] = await Promise.all([page.waitForEvent('download'), page.click('#save')]);
      expect(download.suggestedFilename()).toBe('calls.csv');
      expect(readFileSync(await download.path(), 'utf8')).toBe(table);
      // Wrong files are told in one line.
      await page.setInputFiles('#files', [join(scene, 'red.wav')]);
      await page.waitForFunction(() => /expected/.test(document.querySelector('#state')!.textContent!), undefined, { timeout: 60_000 });
      expect(complaints.filter((c) => !/favicon|404/i.test(c))).toEqual([]);
    } finally {
      await page.close();
      await server.close();
    }
  }, 300_000);
});

describe('docs/examples/README.md', () => {
  it('names every example', () => {
    const text = readFileSync(join(examples, 'README.md'), 'utf8');
    const folders = readdirSync(examples, { withFileTypes: true }).filter((e) => e.isDirectory()).map((e) => e.name);
    expect(folders.filter((name) => !text.includes(`[${name}](`))).toEqual([]);
  });
});
