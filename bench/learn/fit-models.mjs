// Fits the six forests on scenes, each look on what the look before said of scenes left out of its fit (folds by scene).
import { CALL_FEATURES } from '../../dist/model/call-features.js';
import { CONTEXT_FEATURES } from '../../dist/model/context-features.js';
import { LOST_FEATURES } from '../../dist/attribute/lost-features.js';
import { UNTAGGED_AGAIN_FEATURES } from '../../dist/attribute/untagged-context.js';
import { UNTAGGED_FEATURES } from '../../dist/attribute/untagged-features.js';
import { judgeLostRows, judgeOwnRows, judgeUntaggedRows, labelLeftovers, labelLost, labelOwn, lookAgainAtLeftovers, takeFirstLook, takeSecondLook } from './label-scene.mjs';
import { fitRisingLine } from './fit-calibration.mjs';
import { fitForests } from './fit-forests.mjs';

const FOLDS = 3;
/** How large the forests are. The first sees every candidate, the others what is in doubt; few sounds are claimed by birds with a lost link. */
const SIZES = {
  first: { trees: 300, leaves: 31 }, second: { trees: 800, leaves: 127 }, own: { trees: 800, leaves: 127 }, untagged: { trees: 300, leaves: 31 }, untaggedAgain: { trees: 400, leaves: 63 }, lost: { trees: 150, leaves: 15 },
};
/** Scenes of a block of seeds (one of each preset), and what was varied from them, are left out together: else a fold knows its scenes. */
const SEEDS_PER_BLOCK = 8;
/** Rows from here on take part in calibration: a little below what is written. */
const LEAST_LOG_ODDS = -1.5;

/**
 * @param scenes [{ seed, birds, truth, candidates, gains }]
 * @returns { models, folds: [{ models, scenes }] }: the models of all scenes, and per fold the models that never saw its scenes
 */
export function fitModels(scenes, { log = () => {} } = {}) {
  for (const s of scenes) labelOwn(s);
  const foldOf = (s) => Math.floor(s.seed / SEEDS_PER_BLOCK) % FOLDS;
  const folds = Array.from({ length: FOLDS }, (_, k) => ({ test: scenes.filter((s) => foldOf(s) === k), train: scenes.filter((s) => foldOf(s) !== k), models: {} }));
  const models = {};
  /** The forest `name` of every fold and of all scenes. */
  const fit = (name, x, y, features) => {
    const forests = fitForests(gatherRows(scenes, foldOf, x, y), FOLDS, features, SIZES[name]);
    folds.forEach((f, k) => { f.models[name] = forests[k]; });
    models[name] = forests[FOLDS];
    log(name);
  };
  const eachLeftOut = (work) => { for (const f of folds) for (const s of f.test) work(s, f.models); };
  fit('first', 'x1', 'y', CALL_FEATURES);
  eachLeftOut((s, m) => takeFirstLook(s, m.first));
  fit('second', 'x2', 'y', CONTEXT_FEATURES);
  eachLeftOut((s, m) => { takeSecondLook(s, m.second); s.x2 = undefined; });
  fit('own', 'x3', 'y', CONTEXT_FEATURES);
  shareCalibration('own', calibrate(folds, (f, s) => judgeOwnRows(s, f.models.own, LEAST_LOG_ODDS)));
  eachLeftOut((s, m) => labelLeftovers(s, m.own));
  fit('untagged', 'ux', 'uy', UNTAGGED_FEATURES);
  eachLeftOut((s, m) => lookAgainAtLeftovers(s, m.untagged));
  fit('untaggedAgain', 'vx', 'uy', UNTAGGED_AGAIN_FEATURES);
  shareCalibration('untaggedAgain', calibrate(folds, (f, s) => judgeUntaggedRows(s, f.models.untaggedAgain, LEAST_LOG_ODDS)));
  eachLeftOut((s, m) => labelLost(s, m.untaggedAgain));
  fit('lost', 'lx', 'ly', LOST_FEATURES);
  shareCalibration('lost', calibrate(folds, (f, s) => judgeLostRows(s, f.models.lost, LEAST_LOG_ODDS)));
  return { models, folds: folds.map((f) => ({ models: f.models, scenes: f.test })) };

  function shareCalibration(name, calibration) {
    for (const m of [models, ...folds.map((f) => f.models)]) m[name].calibration = calibration;
  }
}

/** Of sounds left over that are no calls, before any look at them: one of these, which counts as so many. */
const SOME = 4;

/** Rows, labels, weights and folds of scenes: of what a look asks about. Shared sound is never the wearer's own: it takes part in the last questions only. */
function gatherRows(scenes, foldOf, x, y) {
  const table = { rows: [], labels: [], weights: [], folds: [] };
  for (const s of scenes) {
    s[x].forEach((row, n) => {
      const share = !s[y][n] && x === 'ux' ? SOME : 1;
      if (row === undefined || (y === 'y' && s.candidates[n].shared) || (n + s.seed) % share !== 0) return;
      table.rows.push(row);
      table.labels.push(s[y][n]);
      table.weights.push(s[y][n] ? 1 : share * (y === 'y' ? s.w[n] : 1));
      table.folds.push(foldOf(s));
    });
  }
  return table;
}

/** Calibrates models on scenes that none of them was fitted to, by the rows that would be written. */
export function calibrateModels(models, scenes) {
  models.own.calibration = { from: [], to: [] };
  for (const s of scenes) {
    labelOwn(s);
    takeFirstLook(s, models.first);
    takeSecondLook(s, models.second);
  }
  const one = [{ models, test: scenes }];
  models.own.calibration = calibrate(one, (f, s) => judgeOwnRows(s, models.own, LEAST_LOG_ODDS));
  for (const s of scenes) { labelLeftovers(s, models.own); lookAgainAtLeftovers(s, models.untagged); }
  models.untaggedAgain.calibration = calibrate(one, (f, s) => judgeUntaggedRows(s, models.untaggedAgain, LEAST_LOG_ODDS));
}

/** Calibration by rows as they would be written, on scenes that the fold's forests never saw. */
function calibrate(folds, judge) {
  const rows = folds.flatMap((f) => f.test.flatMap((s) => judge(f, s)));
  return fitRisingLine(rows.map((r) => r.z), rows.map((r) => r.right));
}
