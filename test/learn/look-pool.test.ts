import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
// @ts-expect-error plain JavaScript
import { packEvidence } from '../../bench/learn/evidence-file.mjs';
// @ts-expect-error plain JavaScript
import { LookPool } from '../../bench/learn/look-pool.mjs';
import { firstForest } from '../../src/model/learned-first.js';
import { makeCandidate } from '../model/make-candidate.js';

interface Scene { seed: number; file: string; isPiece: boolean }
interface Rows { rows: Float32Array; labels: Uint8Array; weights: Float32Array }
const BLOCK = 8, FOLDS = 3;
const foldOf = (seed: number) => Math.floor(seed / BLOCK) % FOLDS;
let folder: string, scenes: Scene[];

beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'volary-looks-'));
  scenes = Array.from({ length: 11 }, (_, seed) => {
    const candidates = Array.from({ length: 1 + 3 * seed }, (_, n) => makeCandidate(2, { track: n % 2, onsetSec: n, offsetSec: n + 0.1 * (1 + (n % 3)) }));
    const truth = candidates.filter((_, n) => n % 5 === 0).map((c) => ({ bird: c.track === 0 ? 'B1' : 'B2', onsetSec: c.onsetSec, offsetSec: c.offsetSec }));
    const file = join(folder, `${seed}.evidence`);
    writeFileSync(file, packEvidence({ seed, preset: 'normal', birds: ['B1', 'B2'], truth, candidates, gains: { gainDb: [0, 0], scaleDb: 1, leadCurveDb: [7, 12, 17, 20], observations: 3 } }));
    return { seed, file, isPiece: false };
  });
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

async function lookAtAll(threads: number, list: Scene[], names: string[]): Promise<[number, Rows][]> {
  const pool = new LookPool(list, threads), out: [number, Rows][] = [];
  try {
    for (const name of names) await pool.ask('look', name, Array.from({ length: FOLDS }, () => ({ first: firstForest })), foldOf, (rows: Rows, fold: number) => out.push([fold, rows]));
  } finally {
    await pool.close();
  }
  return out;
}

describe('scenes looked at by threads', () => {
  it('gives the rows of each scene in the order of the scenes, with its fold, whatever the number of threads', async () => {
    const one = await lookAtAll(1, scenes, ['first', 'second']);
    expect(one.length).toBe(2 * scenes.length);
    scenes.forEach(({ seed }, n) => {
      const [fold, { rows, labels }] = one[n];
      expect(fold).toBe(foldOf(seed));
      expect(labels).toEqual(Uint8Array.from({ length: 1 + 3 * seed }, (_, k) => Number(k % 5 === 0)));
      expect(rows.length % labels.length).toBe(0);
    });
    for (const threads of [2, 3, 16]) expect(await lookAtAll(threads, scenes, ['first', 'second'])).toEqual(one);
  });

  it('fails with the error of the thread where a file cannot be read', async () => {
    const gone = [...scenes.slice(0, 3), { seed: 3, file: join(folder, 'gone.evidence'), isPiece: false }, ...scenes.slice(4)];
    await expect(lookAtAll(2, gone, ['first'])).rejects.toThrow(/gone\.evidence/);
  });
});
