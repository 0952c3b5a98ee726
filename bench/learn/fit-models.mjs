// Fits the six forests on scenes, each look on what the look before said of scenes left out of its fit (folds by scene).
import { CALL_FEATURES } from '../../dist/model/call-features.js';
import { CONTEXT_FEATURES } from '../../dist/model/context-features.js';
import { scoreForest } from '../../dist/model/forest.js';
import { LOST_FEATURES } from '../../dist/attribute/lost-features.js';
import { UNTAGGED_AGAIN_FEATURES } from '../../dist/attribute/untagged-context.js';
import { UNTAGGED_FEATURES } from '../../dist/attribute/untagged-features.js';
import { judgeOwnRows, judgeUntaggedRows, labelLeftovers, labelOwn, lookAgain, lookAgainAtLeftovers } from './label-scene.mjs';
import { fitCalibration, fitRisingLine, trainForest } from './train-forest.mjs';

const FOLDS = 3;
/** Scenes of a block of seeds (one of each preset), and what was varied from them, are left out together: else a fold knows its scenes. */
const SEEDS_PER_BLOCK = 8;
/** Rows from here on take part in calibration: a little below what is written. */
const LEAST_LOG_ODDS = -1.5;

/**
 * @param scenes [{ seed, birds, truth, candidates, gains }]
 * @returns { models, folds: [{ models, scenes }] }: the models of all scenes, and per fold the models that never saw its scenes
 */
export function fitModels(scenes, { trees = 200, log = () => {} } = {}) {
  for (const s of scenes) labelOwn(s);
  const foldOf = (s) => Math.floor(s.seed / SEEDS_PER_BLOCK) % FOLDS;
  const folds = Array.from({ length: FOLDS }, (_, k) => ({ test: scenes.filter((s) => foldOf(s) === k), train: scenes.filter((s) => foldOf(s) !== k), models: {} }));
  // Shared sound is never the wearer's own: it takes part in the last question only.
  const isAsked = (s, x, n) => 'ux vx lx'.includes(x) || !s.candidates[n].shared;
  const fit = (set, x, y, features, o) => {
    const pick = (s, k) => s[k].filter((_, n) => isAsked(s, x, n));
    const labels = set.flatMap((s) => pick(s, y));
    const weights = y === 'y' ? set.flatMap((s) => pick(s, 'w')).map((w, n) => (labels[n] ? 1 : w)) : undefined;
    return trainForest(set.flatMap((s) => pick(s, x)), labels, features, { ...o, weights });
  };
  const options = { trees, depth: 5, rate: 0.06 };

  for (const f of folds) f.models.first = fit(f.train, 'x1', 'y', CALL_FEATURES, options);
  for (const f of folds) for (const s of f.test) { s.z1 = s.x1.map((x) => scoreForest(f.models.first, x)); lookAgain(s, f.models.first, 'x1', 'x2'); }
  log('first look');
  const contextOptions = { ...options, trees: Math.round(trees * 0.8) };
  for (const f of folds) f.models.second = fit(f.train, 'x2', 'y', CONTEXT_FEATURES, contextOptions);
  for (const f of folds) for (const s of f.test) lookAgain(s, f.models.second, 'x2', 'x3');
  log('second look');
  for (const f of folds) f.models.own = fit(f.train, 'x3', 'y', CONTEXT_FEATURES, contextOptions);
  const own = calibrate(folds, (f, s) => judgeOwnRows(s, f.models.own, LEAST_LOG_ODDS));
  for (const f of folds) f.models.own.calibration = own;
  for (const f of folds) for (const s of f.test) labelLeftovers(s, f.models.own);
  log('third look');
  const untaggedOptions = { ...options, trees: Math.round(trees * 0.8), depth: 4 };
  for (const f of folds) f.models.untagged = fit(f.train, 'ux', 'uy', UNTAGGED_FEATURES, untaggedOptions);
  for (const f of folds) for (const s of f.test) lookAgainAtLeftovers(s, f.models.untagged);
  for (const f of folds) f.models.untaggedAgain = fit(f.train, 'vx', 'uy', UNTAGGED_AGAIN_FEATURES, untaggedOptions);
  const untagged = calibrate(folds, (f, s) => judgeUntaggedRows(s, f.models.untaggedAgain, LEAST_LOG_ODDS));
  for (const f of folds) f.models.untaggedAgain.calibration = untagged;
  log('untagged');
  const lostOptions = { ...options, trees: Math.round(trees * 0.4), depth: 3 };
  for (const f of folds) f.models.lost = fit(f.train, 'lx', 'ly', LOST_FEATURES, lostOptions);
  const lost = leaveOut(folds, 'lost', 'lx', 'ly');
  for (const f of folds) f.models.lost.calibration = lost;
  log('lost links');

  const models = {
    first: fit(scenes, 'x1', 'y', CALL_FEATURES, options),
    second: fit(scenes, 'x2', 'y', CONTEXT_FEATURES, contextOptions),
    own: fit(scenes, 'x3', 'y', CONTEXT_FEATURES, contextOptions),
    untagged: fit(scenes, 'ux', 'uy', UNTAGGED_FEATURES, untaggedOptions),
    untaggedAgain: fit(scenes, 'vx', 'uy', UNTAGGED_AGAIN_FEATURES, untaggedOptions),
    lost: fit(scenes, 'lx', 'ly', LOST_FEATURES, lostOptions),
  };
  models.lost.calibration = lost;
  models.own.calibration = own;
  models.untaggedAgain.calibration = untagged;
  return { models, folds: folds.map((f) => ({ models: f.models, scenes: f.test })) };
}

/** Calibrates models on scenes that none of them was fitted to, by the rows that would be written. */
export function calibrateModels(models, scenes) {
  models.own.calibration = { from: [], to: [] };
  for (const s of scenes) {
    labelOwn(s);
    s.z1 = s.x1.map((x) => scoreForest(models.first, x));
    lookAgain(s, models.first, 'x1', 'x2');
    lookAgain(s, models.second, 'x2', 'x3');
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

function leaveOut(folds, name, x, y) {
  const scores = [];
  const labels = [];
  for (const f of folds) for (const s of f.test) s[x].forEach((v, n) => { if (x !== 'lx' && s.candidates[n].shared) return; scores.push(scoreForest(f.models[name], v)); labels.push(s[y][n]); });
  return fitCalibration(scores, labels);
}
