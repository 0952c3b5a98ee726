import { spawnSync } from 'node:child_process';
import { readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';
import ts from 'typescript';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
// @ts-expect-error plain JavaScript
import { makeApiPage } from '../../src/build/make-api-page.mjs';
import { RandomWords } from '../../src/numeric/random-words.js';
import type { StudyTables } from '../../src/pipeline/attribute-study.js';
import { makeScene, writeScene } from '../browser/small-scene.js';
import { newFolder, runCli } from '../cli/run-cli.js';

const root = fileURLToPath(new URL('../../', import.meta.url));
const folder = newFolder();
const study = join(folder, 'scene', 'study.json');
let calls = '';

type Library = typeof import('../../src/node/index.js');
const load = async (): Promise<Library> => (await import(pathToFileURL(join(root, 'dist', 'node', 'index.js')).href)) as Library;

beforeAll(() => {
  writeScene(join(folder, 'scene'), 12, 1);
  expect(runCli(['draft', join(folder, 'scene'), '-o', study])).toMatchObject({ status: 0 });
  expect(runCli(['attribute', study, '--out', join(folder, 'out'), '--workers', '1'])).toMatchObject({ status: 0 });
  calls = readFileSync(join(folder, 'out', 'calls.csv'), 'utf8');
});

afterAll(() => { rmSync(folder, { recursive: true, force: true }); });

describe('names', () => {
  const text = readFileSync(join(root, 'docs', 'api.md'), 'utf8').replaceAll('\r\n', '\n');
  // Each name has a heading of its own, followed by where it is found unless that is everywhere.
  const documented = [...text.matchAll(/^### (\w+)\n\n(?:Only (in Node|in a page)\.)?/gm)].map((m) => ({ name: m[1], where: m[2] ?? '' }));
  const namesOf = (where: string): string[] => documented.filter((d) => d.where === '' || d.where === where).map((d) => d.name).sort();

  it('are those of the documentation, in Node', async () => {
    expect(Object.keys(await load()).sort()).toEqual(namesOf('in Node'));
  });

  it('are those of the documentation, in pages', async () => {
    const bundle = (await import(pathToFileURL(join(root, 'dist', 'browser', 'index.js')).href)) as object;
    expect(Object.keys(bundle).sort()).toEqual(namesOf('in a page'));
  });

  it('are documented as the sources say today (else: npm run docs)', () => {
    expect(text).toBe(makeApiPage(root));
  });

  it('each have a signature and a sentence', () => {
    const sections = text.split(/^### /m).slice(1);
    expect(sections.length).toBe(documented.length);
    expect(sections.filter((s) => !/^```ts\n[^]+?\n```\n\n[A-Z`][^\n]{10,}/m.test(s)).map((s) => s.split('\n')[0])).toEqual([]);
    // A parameter whose type only the compiler could tell has to say it.
    expect(text).not.toMatch(/\w\?: unknown[,)]|\[object /);
  });

  it('have types that a strict program accepts', () => {
    const program = join(root, 'test', 'api', 'example-program.ts');
    const options: ts.CompilerOptions = {
      strict: true, noEmit: true, target: ts.ScriptTarget.ES2022, module: ts.ModuleKind.NodeNext, moduleResolution: ts.ModuleResolutionKind.NodeNext,
      lib: ['lib.es2023.d.ts', 'lib.dom.d.ts'], types: ['node'], skipLibCheck: true,
    };
    const host = ts.createCompilerHost(options);
    const found = ts.getPreEmitDiagnostics(ts.createProgram([program], options, host));
    expect(found.map((d) => ts.flattenDiagnosticMessageText(d.messageText, '\n'))).toEqual([]);
  });
});

describe('a program', () => {
  it('that imports the package by name gets the same calls as the command line', () => {
    const script = ts.transpileModule(readFileSync(join(root, 'test', 'api', 'example-program.ts'), 'utf8'), {
      compilerOptions: { target: ts.ScriptTarget.ES2022, module: ts.ModuleKind.ESNext },
    }).outputText;
    // Inside the checkout the package's own name leads to its build, as an installed one would.
    const run = spawnSync(process.execPath, ['--input-type=module', '-e', script, study], { cwd: root, encoding: 'utf8' });
    expect([run.status, run.stderr]).toEqual([0, '']);
    expect(run.stdout).toBe(calls);
    expect(calls.split('\n').length).toBeGreaterThan(12);
  });
});

describe('attributeStudyFile', () => {
  it('gives the same tables with and without threads, tells how far it is, and writes nothing', async () => {
    const { attributeStudyFile, formatTables } = await load();
    const stages = new Map<string, number[]>();
    for (const workers of [0, 2]) {
      const result = await attributeStudyFile(study, { workers, onProgress: (stage, done, total) => stages.set(stage, [done, total]) });
      expect(formatTables(result, result.manifest.name)['calls.csv']).toBe(calls);
      expect(result.birds).toEqual(['red', 'blue', 'green', 'white']);
      expect(result.problems.filter((p) => p.severity === 'error')).toEqual([]);
    }
    expect(stages.get('extraction')).toEqual([2, 2]);
  });

  it('hands rows on as they are decided where it is told to whom, and keeps none', async () => {
    const { attributeStudyFile, formatTables } = await load();
    const got: StudyTables = { calls: [], sounds: [], clock: [], tracks: [] };
    const result = await attributeStudyFile(study, { workers: 0, rows: { addCalls: (rows) => { got.calls.push(...rows); }, addSounds: (rows) => { got.sounds.push(...rows); } } });
    expect(formatTables(got, 'x')['calls.csv']).toBe(calls);
    expect([result.calls, result.sounds]).toEqual([[], []]);
    const whole = await attributeStudyFile(study, { workers: 0 });
    expect(got.sounds).toEqual(whole.sounds);
    expect(result.tracks).toEqual(whole.tracks);
    const failing = attributeStudyFile(study, { workers: 0, rows: { addCalls: () => { throw new Error('no room'); }, addSounds: () => undefined } });
    await expect(failing).rejects.toThrow('no room');
  });

  it('stops when asked, at once and on the way', async () => {
    const { attributeStudyFile, VolaryError } = await load();
    const reason = new Error('enough');
    for (const workers of [0, 1]) {
      const early = attributeStudyFile(study, { workers, signal: AbortSignal.abort(reason) });
      await expect(early).rejects.toMatchObject({ code: 'interrupted', cause: reason });
      const controller = new AbortController();
      const late = attributeStudyFile(study, { workers, signal: controller.signal, onProgress: () => controller.abort(reason) });
      await expect(late).rejects.toBeInstanceOf(VolaryError);
      await expect(late).rejects.toMatchObject({ code: 'interrupted', cause: reason });
    }
  });

  it('names a file that fails and goes on with the rest', async () => {
    const { attributeStudyFile } = await load();
    const broken = join(folder, 'scene', 'broken.json');
    writeFileSync(join(folder, 'scene', 'letter.wav'), 'this is a letter');
    writeFileSync(broken, readFileSync(study, 'utf8').replace('white.wav', 'letter.wav'));
    const result = await attributeStudyFile(broken, { workers: 0 });
    expect(result.birds).toEqual(['red', 'blue', 'green']);
    expect(result.calls.length).toBeGreaterThan(6);
    expect(result.problems.filter((p) => p.severity === 'error').map((p) => p.text)).toEqual(expect.arrayContaining([expect.stringContaining('letter.wav')]));
  });
});

describe('streamCalls', () => {
  it('gives the calls of a longer study in blocks of 16 minutes that make up the whole table', async () => {
    const { attributeTracks, simulateScene, streamCalls } = await load();
    const sampleRateHz = 16000;
    const { tracks } = simulateScene({ ...makeScene(12, 1), sampleRateHz }, 5);
    // The scene twice, with a quarter of an hour of faint noise between.
    const random = new RandomWords(1);
    const signals = tracks.map(({ samples }) => {
      const out = Float32Array.from({ length: 1010 * sampleRateHz }, () => 3e-4 * (random.nextUnit() - 0.5));
      for (const startSec of [5, 990]) out.set(samples, startSec * sampleRateHz);
      return out;
    });
    const stream = streamCalls((o) => attributeTracks({ birds: tracks.map((t) => t.bird), signals, sampleRateHz }, o));
    const blocks = [];
    let step = await stream.next();
    for (; !step.done; step = await stream.next()) blocks.push(step.value);
    expect(blocks.map((b) => [b.fromSec, b.toSec])).toEqual([[0, 960], [960, Infinity]]);
    expect(blocks.every((b) => b.calls.length > 5 && b.calls.every((c) => c.onsetSec >= b.fromSec && c.onsetSec < b.toSec))).toBe(true);
    expect(blocks.flatMap((b) => b.calls)).toEqual(step.value.calls);
    expect(step.value.calls.map((c) => c.callId)).toEqual(step.value.calls.map((_, n) => n + 1));
  });
});

describe('attributeTracks', () => {
  const silence = (): Float32Array => new Float32Array(16000);

  it.each([
    [{ birds: ['red'], signals: [silence(), silence()], sampleRateHz: 16000 }, 'not one signal per bird; got 2 signals; expected 1'],
    [{ birds: ['red', 'red'], signals: [silence(), silence()], sampleRateHz: 16000 }, 'this bird has a track already'],
    [{ birds: ['red', 'none'], signals: [silence(), silence()], sampleRateHz: 16000 }, "'none' stands for callers without a tag"],
    [{ birds: ['red', ' blue'], signals: [silence(), silence()], sampleRateHz: 16000 }, 'not a name; got " blue"'],
    [{ birds: ['red', 'blue'], signals: [silence(), silence()], sampleRateHz: 0 }, 'wrong sample rate; got 0'],
    [{ birds: ['red', 'blue'], signals: [silence(), silence()], sampleRateHz: 16000, recorders: ['1'] }, 'not one recorder per bird'],
    [{ birds: ['red', 'blue'], signals: [silence(), silence()], sampleRateHz: 16000, startUtc: 'noon' }, 'no such time; got noon'],
    [{ birds: ['red', 'blue'], signals: [silence(), silence()], sampleRateHz: 16000, bandHz: [4000, 500] as [number, number] }, 'the range is empty'],
    [{ birds: ['red'], signals: [silence()], sampleRateHz: 16000 }, 'attribution compares tracks; got 1 usable'],
  ])('refuses what makes no sense (%#)', async (input, line) => {
    const { attributeTracks } = await load();
    await expect(attributeTracks(input)).rejects.toThrow(line);
  });

  it('finds nothing in silence', async () => {
    const { attributeTracks } = await load();
    const result = await attributeTracks({ birds: ['red', 'blue'], signals: [silence(), silence()], sampleRateHz: 16000 });
    expect([result.calls, result.clock, result.tracks.map((t) => t.track)]).toEqual([[], [], ['red', 'blue']]);
  });
});
