// Fits the six forests on scenes, each look on what the look before said of scenes left out of its fit (folds by scene). A scene is opened for each
// look and only what later looks need of it is kept: evidence of thousands of scenes would not fit into memory.
import { CALL_FEATURES } from '../../dist/model/call-features.js';
import { CONTEXT_FEATURES } from '../../dist/model/context-features.js';
import { LOST_FEATURES } from '../../dist/attribute/lost-features.js';
import { UNTAGGED_AGAIN_FEATURES } from '../../dist/attribute/untagged-context.js';
import { UNTAGGED_FEATURES } from '../../dist/attribute/untagged-features.js';
import { judgeLostRows, judgeOwnRows, judgeUntaggedRows, labelLeftovers, labelLost, labelOwn, lookAgainAtLeftovers, takeFirstLook, takeSecondLook } from './label-scene.mjs';
import { fitRisingLine } from './fit-calibration.mjs';
import { fitForests } from './fit-forests.mjs';
import { RowTable } from './row-table.mjs';

const FOLDS = 3;
/** How large the forests are. The first sees every candidate, the others what is in doubt; few sounds are claimed by birds with a lost link. */
const SIZES = {
  first: { trees: 300, leaves: 31 }, second: { trees: 800, leaves: 127 }, own: { trees: 800, leaves: 127 }, untagged: { trees: 400, leaves: 31 }, untaggedAgain: { trees: 600, leaves: 63 },
  lost: { trees: 150, leaves: 15, leastHessian: 20, l2: 10, features: 0.3 },
};
/** Scenes of a block of seeds (one of each preset), and what was varied from them, are left out together: else a fold knows its scenes. */
const SEEDS_PER_BLOCK = 8;
/** Rows from here on take part in calibration: a little below what is written. */
const LEAST_LOG_ODDS = -1.5;
/** Of sounds left over that are no calls, before any look at them: one of these, which counts as so many. */
const SOME = 4;
/** What is had anew whenever a scene is opened. */
const EVIDENCE = ['truth', 'candidates', 'gains', 'x1', 'y', 'w'];

/**
 * @param scenes [{ seed, open }], where open() gives { seed, birds, truth, candidates, gains }
 * @returns the models, calibrated on scenes that their folds never saw
 */
export function fitModels(scenes, { log = () => {} } = {}) {
  const kept = scenes.map(() => ({})), models = {};
  const foldOf = (seed) => Math.floor(seed / SEEDS_PER_BLOCK) % FOLDS;
  /** Calls work(scene, models of its fold, its fold) for each scene in turn. */
  const forEach = (work) => scenes.forEach(({ seed, open }, n) => {
    const s = Object.assign(kept[n], open());
    labelOwn(s);
    work(s, foldModels[foldOf(seed)], foldOf(seed));
    for (const name of EVIDENCE) delete s[name];
  });
  const foldModels = Array.from({ length: FOLDS }, () => ({}));
  /** Fits forest `name` of every fold and of all scenes to rows of `look`, which is taken at each scene in turn. */
  const fit = (name, features, look, [x, y]) => {
    const table = new RowTable(features.length);
    forEach((s, m, fold) => { look(s, m); addRows(table, s, x, y, fold); });
    fitForests(table, FOLDS, features, SIZES[name]).forEach((forest, k) => { (foldModels[k] ?? models)[name] = forest; });
    log(name);
  };
  const calibrate = (name, judge) => {
    const rows = [];
    forEach((s, m) => rows.push(...judge(s, m[name], LEAST_LOG_ODDS)));
    const calibration = fitLine(rows);
    for (const m of [models, ...foldModels]) m[name].calibration = calibration;
  };
  fit('first', CALL_FEATURES, () => {}, ['x1', 'y']);
  fit('second', CONTEXT_FEATURES, (s, m) => takeFirstLook(s, m.first), ['x2', 'y']);
  fit('own', CONTEXT_FEATURES, (s, m) => { takeSecondLook(s, m.second); s.x2 = undefined; }, ['x3', 'y']);
  calibrate('own', judgeOwnRows);
  fit('untagged', UNTAGGED_FEATURES, (s, m) => labelLeftovers(s, m.own), ['ux', 'uy']);
  fit('untaggedAgain', UNTAGGED_AGAIN_FEATURES, (s, m) => { lookAgainAtLeftovers(s, m.untagged); s.ux = s.x3 = undefined; }, ['vx', 'uy']);
  calibrate('untaggedAgain', judgeUntaggedRows);
  fit('lost', LOST_FEATURES, (s, m) => labelLost(s, m.untaggedAgain), ['lx', 'ly']);
  calibrate('lost', judgeLostRows);
  return models;
}

/** Rows that a look asks about, with their labels and weights. Shared sound is never the wearer's own: it takes part in the last questions only. */
function addRows(table, s, x, y, fold) {
  s[x].forEach((row, n) => {
    const share = !s[y][n] && x === 'ux' ? SOME : 1;
    if (row === undefined || (y === 'y' && s.candidates[n].shared) || (n + s.seed) % share !== 0) return;
    table.add(row, s[y][n], s[y][n] ? 1 : share * (y === 'y' ? s.w[n] : 1), fold);
  });
}

/** Calibrates models on scenes that none of them was fitted to, by the rows that would be written. */
export function calibrateModels(models, scenes) {
  models.own.calibration = { from: [], to: [] };
  for (const s of scenes) {
    labelOwn(s);
    takeFirstLook(s, models.first);
    takeSecondLook(s, models.second);
  }
  models.own.calibration = fitLine(scenes.flatMap((s) => judgeOwnRows(s, models.own, LEAST_LOG_ODDS)));
  for (const s of scenes) { labelLeftovers(s, models.own); lookAgainAtLeftovers(s, models.untagged); }
  models.untaggedAgain.calibration = fitLine(scenes.flatMap((s) => judgeUntaggedRows(s, models.untaggedAgain, LEAST_LOG_ODDS)));
}

/** Calibration by rows as they would be written: { z, right } each. */
function fitLine(rows) {
  return fitRisingLine(rows.map((r) => r.z), rows.map((r) => r.right));
}
