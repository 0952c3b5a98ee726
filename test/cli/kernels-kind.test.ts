import { spawnSync } from 'node:child_process';
import { mkdirSync, readFileSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { callTable } from '../../src/table/table-specs.js';
import { parseCsv } from '../../src/table/csv-table.js';
import { writeScene } from '../browser/small-scene.js';
import { MAIN, newFolder, runCli, type CliResult } from './run-cli.js';

const KERNELS = new URL('../../dist/kernels-relaxed.wasm', import.meta.url);
const knows = (...flags: string[]): boolean => spawnSync(process.execPath, [...flags, '-e', `process.exit(WebAssembly.validate(require('fs').readFileSync(new URL('${KERNELS.href}'))) ? 0 : 1)`]).status === 0;
const isKnown = knows();
const FLAGS = isKnown ? [] : ['--experimental-wasm-relaxed-simd'];
const canRun = isKnown || knows(...FLAGS);

const folder = newFolder();
const study = join(folder, 'study.json');
const at = (...parts: string[]): string => join(folder, ...parts);
function attribute(out: string, ...args: string[]): CliResult {
  const r = spawnSync(process.execPath, [...FLAGS, MAIN, 'attribute', study, '--out', at(out), '--workers', '1', ...args], { encoding: 'utf8', env: { ...process.env, VOLARY_TRACE: '' } });
  return { status: r.status, out: r.stdout, err: r.stderr };
}
const readCalls = (out: string) => parseCsv(callTable, readFileSync(at(out, 'calls.csv'), 'utf8'), 'calls');
const readRun = (out: string) => JSON.parse(readFileSync(at(out, 'run.json'), 'utf8')) as { kernels: string; kernelHash: string };

beforeAll(() => {
  mkdirSync(folder, { recursive: true });
  writeScene(folder, 15, 1);
  writeFileSync(study, JSON.stringify({
    volary: 1, name: 'kinds', recorders: [{ name: '1' }], tracks: ['red', 'blue', 'green', 'white'].map((bird) => ({ bird, recorder: '1', files: [{ path: `${bird}.wav`, channel: 1 }] })),
  }));
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe('kernels with relaxed instructions', () => {
  it.skipIf(isKnown)('are refused in one line where the engine does not know them, before anything is written (skipped: this engine knows them)', () => {
    const r = runCli(['attribute', study, '--out', at('refused'), '--kernels', 'relaxed']);
    expect(r.status).toBe(2);
    expect(r.err).toMatch(/^volary attribute: --kernels relaxed: this Node does not know .*; expected Node 21 or later; leave the option out.*\n$/);
    expect(() => readFileSync(at('refused', 'run.json'))).toThrow();
  });

  it.skipIf(!canRun)('give the same calls as the plain ones, and the result says which were used (skipped where the engine has no relaxed SIMD)', () => {
    expect(attribute('plain').status).toBe(0);
    expect(attribute('relaxed', '--kernels', 'relaxed').status).toBe(0);
    const [plain, relaxed] = [readCalls('plain'), readCalls('relaxed')];
    expect(plain.length).toBeGreaterThan(10);
    expect(relaxed.map((c) => c.bird)).toEqual(plain.map((c) => c.bird));
    // One rounding in place of two moves powers by 1e-7 of themselves; edges are read in steps of 1/6000 s, levels are written to .01 dB.
    relaxed.forEach((c, i) => {
      expect(Math.abs(c.onsetSec - plain[i].onsetSec)).toBeLessThanOrEqual(1 / 3000);
      expect(Math.abs(c.levelDb - plain[i].levelDb)).toBeLessThanOrEqual(0.05);
      expect(Math.abs(c.probability - plain[i].probability)).toBeLessThanOrEqual(0.02);
    });
    expect([readRun('plain').kernels, readRun('relaxed').kernels]).toEqual(['plain', 'relaxed']);
    expect(readRun('relaxed').kernelHash).not.toBe(readRun('plain').kernelHash);
  });

  it.skipIf(!canRun)('are not mixed with plain ones in parts; parts take those of the plan (skipped where the engine has no relaxed SIMD)', () => {
    expect(attribute('parts', '--plan', '1', '--kernels', 'relaxed').status).toBe(0);
    const wrong = attribute('parts', '--part', '1', '--kernels', 'plain');
    expect(wrong.status).not.toBe(0);
    expect(wrong.err).toMatch(/kernels differs; got "relaxed"; expected "plain"/);
    expect(attribute('parts', '--part', '1').status).toBe(0);
    expect(attribute('parts', '--merge', '--kernels', 'plain').err).toMatch(/kernels differs/);
    expect(attribute('parts', '--merge').status).toBe(0);
    expect(readRun('parts').kernels).toBe('relaxed');
    expect(readFileSync(at('parts', 'calls.csv'), 'utf8')).toBe(readFileSync(at('relaxed', 'calls.csv'), 'utf8'));
  });

  it.skipIf(!canRun)('are not mixed with plain ones in a run that goes on (skipped where the engine has no relaxed SIMD)', () => {
    // A plan's work under the name that a run which was stopped gives its own.
    expect(attribute('stopped', '--plan', '1').status).toBe(0);
    renameSync(at('stopped', 'parts'), at('stopped', 'unfinished'));
    const r = attribute('stopped', '--kernels', 'relaxed');
    expect(r.status).not.toBe(0);
    expect(r.err).toMatch(/unfinished work that does not fit: kernels differs; got "plain"; expected "relaxed"; use --force/);
  });
});
