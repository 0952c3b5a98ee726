import { beforeAll, describe, expect, it } from 'vitest';
import { ForestRows } from '../../src/kernels/forest-rows.js';
import type { Kernels } from '../../src/kernels/kernels.js';
import { joinTrees, type Forest, type Tree } from '../../src/model/forest.js';
import { SHIPPED_MODELS } from '../../src/model/shipped-models.js';
import { loadKernelsFile } from '../../src/node/kernels-file.js';
import { arrangeForest, decideByKernels } from '../../src/pipeline/decision-kernels.js';
import { Random } from '../../src/simulate/random.js';
import { drawForest, drawRows, WIDTH } from '../model/draw-forest.js';
import { scoreReference } from '../reference/forest.js';
import { openKernels } from './support.js';

let module: WebAssembly.Module;
let k: Kernels;
beforeAll(async () => {
  module = await loadKernelsFile();
  k = await openKernels(1 << 20);
});

function score(forest: Forest, rows: readonly (readonly number[])[]): number[] {
  const sums = new Float64Array(rows.length).fill(forest.bias);
  new ForestRows(module, arrangeForest(forest)).add(sums, (n) => rows[n]);
  return [...sums];
}

describe('forests asked by the kernels', () => {
  it.each([[11, 1, 1, 1], [12, 5, 31, 3], [13, 60, 253, 256], [17, 12, 511, 200], [18, 40, 3, 1]])('give the bits of the plain walk: seed %i, %i trees of up to %i nodes, %i cuts', (seed, trees, most, cutCount) => {
    const forest = drawForest(seed, trees, most, cutCount), rows = drawRows(seed, 300, forest);
    expect(score(forest, rows)).toEqual(scoreReference(forest, rows));
  });

  it('for any number of rows, from memory that is written over', () => {
    const forest = drawForest(16, 30, 127, 40), rows = drawRows(16, 400, forest), plain = scoreReference(forest, rows), asked = new ForestRows(module, arrangeForest(forest)), row = new Float64Array(WIDTH);
    for (const count of [...Array.from({ length: 68 }, (_, n) => n), 127, 128, 129, 256, 383, 400]) {
      const sums = new Float64Array(count).fill(forest.bias);
      asked.add(sums, (n) => { row.set(rows[n]); return row; });
      expect([...sums]).toEqual(plain.slice(0, count));
    }
  });

  it.each(Object.entries(SHIPPED_MODELS))('of the shipped forest %s', (_, forest) => {
    const random = new Random(21), cuts = forest.features.map((): number[] => []);
    forest.numbers.forEach((v, n) => { if (forest.links[2 * n] >= 0) cuts[forest.links[2 * n]].push(v); });
    const rows = Array.from({ length: 70 }, () => cuts.map((c) => (c.length > 0 ? random.pick(c) + random.pick([-1e-9, 0, 1e-9]) : 0)));
    const told = decideByKernels(SHIPPED_MODELS, module).scoreRows!(forest, rows.length, (n) => rows[n]);
    expect([...told]).toEqual(scoreReference(forest, rows));
  });

  it('whether thresholds are passed by every value or by none', () => {
    const forest: Forest = { ...drawForest(14, 1, 1, 1), ...joinTrees([{ feature: [0, 1, -1, -1, -1], threshold: [Infinity, -Infinity, 0, 0, 0], left: [1, 3, 0, 0, 0], value: [0, 0, 1, 2, 4] }]), bias: 0 };
    expect(score(forest, [-1e300, 0, 1e300].map((v) => Array<number>(WIDTH).fill(v)))).toEqual([4, 4, 4]);
  });

  it('are refused where they do not fit', () => {
    expect(() => arrangeForest(drawForest(15, 60, 255, 400))).toThrow(/too many features or thresholds/);
    const nodes = Array.from({ length: 513 }, (_, n) => n), isInner = (n: number): boolean => n % 2 === 0 && n < 512;
    const chain: Tree = { feature: nodes.map((n) => (isInner(n) ? 0 : -1)), threshold: nodes.map(() => 1), left: nodes.map((n) => n + 1), value: nodes };
    expect(() => arrangeForest({ ...drawForest(20, 1, 1, 1), ...joinTrees([chain]) })).toThrow(/too many leaves to be scored: 257/);
    const back: Tree = { feature: [0, -1, -1, -1, 1], threshold: [1, 0, 0, 0, 5], left: [3, 0, 0, 0, 1], value: [0, 7, 9, 11, 0] };
    expect(() => arrangeForest({ ...drawForest(19, 1, 1, 1), ...joinTrees([back]) })).toThrow(/children of node 4 of tree 0 do not lie behind it/);
  });

  it('write nothing beside what is theirs', () => {
    const forest = drawForest(22, 3, 61, 9), { starts, cuts, trees, nodes, leaves } = arrangeForest(forest), rows = drawRows(22, 5, forest), mark = k.mark();
    const guarded = (bytes: number): { ptr: number; isIntact: () => boolean } => {
      const at = k.alloc(bytes + 64), all = k.u8(at, bytes + 64).fill(0xa5);
      return { ptr: at + 32, isIntact: () => [...all.subarray(0, 32), ...all.subarray(32 + bytes)].every((v) => v === 0xa5) };
    };
    const place = (v: Int32Array | Float64Array): number => {
      const at = k.alloc(v.byteLength);
      k.u8(at, v.byteLength).set(new Uint8Array(v.buffer, v.byteOffset, v.byteLength));
      return at;
    };
    const passed = guarded(16 * (cuts.length + WIDTH)), slots = guarded(16 * 528), out = guarded(8 * rows.length);
    k.f64(out.ptr, rows.length).fill(forest.bias);
    k.fn.markThresholds(place(Float64Array.from(rows.flat())), rows.length, WIDTH, place(starts), place(cuts), passed.ptr);
    k.fn.addLeaves(place(trees.map((n, at) => (at % 2 === 0 ? 4 * n : n))), trees.length / 2 - 1, place(nodes.map((n) => 16 * n)), place(leaves), passed.ptr, slots.ptr, rows.length, out.ptr);
    expect([...k.f64(out.ptr, rows.length)]).toEqual(scoreReference(forest, rows));
    expect([passed, slots, out].map((g) => g.isIntact())).toEqual([true, true, true]);
    k.release(mark);
  });
});
