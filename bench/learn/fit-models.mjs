// Fits the six forests on scenes, each look on what the look before said of scenes left out of its fit (folds by scene).
import { availableParallelism } from 'node:os';
import { CALL_FEATURES } from '../../dist/model/call-features.js';
import { CONTEXT_FEATURES } from '../../dist/model/context-features.js';
import { LOST_FEATURES } from '../../dist/attribute/lost-features.js';
import { UNTAGGED_AGAIN_FEATURES } from '../../dist/attribute/untagged-context.js';
import { UNTAGGED_FEATURES } from '../../dist/attribute/untagged-features.js';
import { judgeOwnRows, judgeUntaggedRows, labelLeftovers, labelOwn, lookAgainAtLeftovers, takeFirstLook, takeSecondLook } from './label-scene.mjs';
import { fitRisingLine } from './fit-calibration.mjs';
import { fitForests } from './fit-forests.mjs';
import { LookPool } from './look-pool.mjs';
import { LEAST_LOG_ODDS, openScene } from './looks.mjs';
import { RowTable } from './row-table.mjs';

const FOLDS = 3;
/** How large the forests are. The first sees every candidate, the others what is in doubt; few sounds are claimed by birds with a lost link. */
const SIZES = {
  first: { trees: 300, leaves: 31 }, second: { trees: 800, leaves: 127 }, own: { trees: 800, leaves: 127 }, untagged: { trees: 400, leaves: 31 }, untaggedAgain: { trees: 600, leaves: 63 },
  lost: { trees: 150, leaves: 15, leastHessian: 20, l2: 10, features: 0.3 },
};
/** Scenes of a block of seeds (one of each preset), and what was varied from them, are left out together: else a fold knows its scenes. */
const SEEDS_PER_BLOCK = 8;

/**
 * @param scenes [{ seed, file, isPiece }], files of evidence
 * @param threads how many look at scenes side by side
 * @returns the models, calibrated on scenes that their folds never saw
 */
export async function fitModels(scenes, { threads = availableParallelism(), log = () => {} } = {}) {
  const pool = new LookPool(scenes, threads), models = {}, foldModels = Array.from({ length: FOLDS }, () => ({}));
  const foldOf = (seed) => Math.floor(seed / SEEDS_PER_BLOCK) % FOLDS;
  /** Fits forest `name` of every fold and of all scenes to the rows of its look at each scene. */
  const fit = async (name, features) => {
    const table = new RowTable(features.length);
    await pool.ask('look', name, foldModels, foldOf, ({ rows, labels, weights }, fold) => {
      labels.forEach((label, k) => table.add(rows.subarray(k * features.length, (k + 1) * features.length), label, weights[k], fold));
    });
    log(`${name}: ${table.count} rows`);
    fitForests(table, FOLDS, features, SIZES[name]).forEach((forest, k) => { (foldModels[k] ?? models)[name] = forest; });
    log(`${name}: fitted`);
  };
  const calibrate = async (name) => {
    const rows = [];
    await pool.ask('judge', name, foldModels, foldOf, (some) => rows.push(...some));
    const calibration = fitLine(rows);
    for (const m of [models, ...foldModels]) m[name].calibration = calibration;
  };
  try {
    await fit('first', CALL_FEATURES);
    await fit('second', CONTEXT_FEATURES);
    await fit('own', CONTEXT_FEATURES);
    await calibrate('own');
    await fit('untagged', UNTAGGED_FEATURES);
    await fit('untaggedAgain', UNTAGGED_AGAIN_FEATURES);
    await calibrate('untaggedAgain');
    await fit('lost', LOST_FEATURES);
    await calibrate('lost');
  } finally {
    await pool.close();
  }
  return models;
}

/** Calibrates models on scenes (as above) that none of them was fitted to, by the rows that would be written. */
export function calibrateModels(models, scenes) {
  models.own.calibration = { from: [], to: [] };
  const opened = scenes.map(openScene);
  for (const s of opened) {
    labelOwn(s);
    takeFirstLook(s, models.first);
    takeSecondLook(s, models.second);
  }
  models.own.calibration = fitLine(opened.flatMap((s) => judgeOwnRows(s, models.own, LEAST_LOG_ODDS)));
  for (const s of opened) { labelLeftovers(s, models.own); lookAgainAtLeftovers(s, models.untagged); }
  models.untaggedAgain.calibration = fitLine(opened.flatMap((s) => judgeUntaggedRows(s, models.untaggedAgain, LEAST_LOG_ODDS)));
}

/** Calibration by rows as they would be written: { z, right } each. */
function fitLine(rows) {
  return fitRisingLine(rows.map((r) => r.z), rows.map((r) => r.right));
}
