// Fits boosted forests by a library, LightGBM, which Python runs (fit-forest.py): `python3 -m pip install lightgbm`. Only learning needs it, the program does not.
import { spawnSync } from 'node:child_process';
import { readFileSync, writeFileSync } from 'node:fs';
import { availableParallelism } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { joinTrees } from '../../dist/model/forest.js';

const PYTHON = process.env.PYTHON ?? (process.platform === 'win32' ? 'python' : 'python3');
const USUAL = { trees: 300, leaves: 31, rate: 0.05, leastHessian: 10, l2: 2, features: 0.6, sample: 0.7 };

/**
 * @param table a RowTable, which is removed afterwards
 * @returns forests without calibration: one per fold, that never saw its rows, and last one of all rows
 */
export function fitForests(table, foldCount, features, options) {
  try {
    table.finish();
    writeFileSync(join(table.folder, 'task.json'), JSON.stringify({ count: table.count, width: table.width, folds: foldCount, options: { ...USUAL, threads: availableParallelism(), ...options } }));
    const run = spawnSync(PYTHON, [fileURLToPath(new URL('fit-forest.py', import.meta.url)), table.folder], { stdio: ['ignore', 'inherit', 'inherit'], env: { ...process.env, OMP_WAIT_POLICY: 'PASSIVE' } });
    if (run.status !== 0) throw new Error(`${PYTHON} could not fit a forest${run.error ? `: ${run.error.message}` : ''}`);
    return JSON.parse(readFileSync(join(table.folder, 'forests.json'), 'utf8')).map(({ bias, trees }) => ({ features: [...features], bias, ...joinTrees(trees.map(round)), calibration: { from: [], to: [] } }));
  } finally {
    table.remove();
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
