// Fits boosted forests by a library, LightGBM, which Python runs (fit-forest.py): `python3 -m pip install lightgbm`. Only learning needs it, the program does not.
import { spawnSync } from 'node:child_process';
import { closeSync, mkdtempSync, openSync, readFileSync, rmSync, writeFileSync, writeSync } from 'node:fs';
import { availableParallelism, tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { joinTrees } from '../../dist/model/forest.js';

const PYTHON = process.env.PYTHON ?? (process.platform === 'win32' ? 'python' : 'python3');
const USUAL = { trees: 300, leaves: 31, rate: 0.05, leastHessian: 20, l2: 10, features: 0.3, sample: 0.7 };

/**
 * @param table { rows, labels, weights, folds }: by row its numbers, 0 or 1, what it counts, and the fold that it is left out of
 * @returns forests without calibration: one per fold, that never saw its rows, and last one of all rows
 */
export function fitForests({ rows, labels, weights, folds }, foldCount, features, options) {
  const folder = mkdtempSync(join(tmpdir(), 'forest-')), width = features.length;
  try {
    writeRows(join(folder, 'rows.f32'), rows, width);
    writeFileSync(join(folder, 'labels.u8'), Uint8Array.from(labels));
    writeFileSync(join(folder, 'weights.f32'), new Uint8Array(Float32Array.from(weights).buffer));
    writeFileSync(join(folder, 'folds.u8'), Uint8Array.from(folds));
    writeFileSync(join(folder, 'task.json'), JSON.stringify({ count: rows.length, width, folds: foldCount, options: { ...USUAL, threads: availableParallelism(), ...options } }));
    const run = spawnSync(PYTHON, [fileURLToPath(new URL('fit-forest.py', import.meta.url)), folder], { stdio: ['ignore', 'inherit', 'inherit'], env: { ...process.env, OMP_WAIT_POLICY: 'PASSIVE' } });
    if (run.status !== 0) throw new Error(`${PYTHON} could not fit a forest${run.error ? `: ${run.error.message}` : ''}`);
    return JSON.parse(readFileSync(join(folder, 'forests.json'), 'utf8')).map(({ bias, trees }) => ({ features: [...features], bias, ...joinTrees(trees.map(round)), calibration: { from: [], to: [] } }));
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

/** Numbers as the model file keeps them (pack-forest.ts): learning goes on with what will be shipped. Thresholds lie between values, so that 'at most' is 'less than'. */
function round({ feature, threshold, left, value }) {
  return { feature, left, threshold: threshold.map((v) => Number(v.toPrecision(7))), value: value.map((v) => Math.round(v * 16384) / 16384) };
}

/** One line that says what is missing, or nothing: to be asked before hours of simulation. */
export function findMissing() {
  const run = spawnSync(PYTHON, ['-c', 'import lightgbm, numpy'], { stdio: ['ignore', 'ignore', 'pipe'], encoding: 'utf8' });
  if (run.error) return `no Python runs as ${PYTHON} (${run.error.code}); name one by the variable PYTHON`;
  return run.status === 0 ? undefined : `${PYTHON} has no lightgbm; install it with '${PYTHON} -m pip install lightgbm'`;
}

function writeRows(path, rows, width) {
  const file = openSync(path, 'w'), block = new Float32Array(4096 * width);
  for (let n = 0; n < rows.length; n += 4096) {
    const count = Math.min(4096, rows.length - n);
    for (let k = 0; k < count; k++) block.set(rows[n + k], k * width);
    writeSync(file, new Uint8Array(block.buffer, 0, 4 * count * width));
  }
  closeSync(file);
}
