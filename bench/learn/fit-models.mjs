// Fits the six forests on scenes, each look on what the look before said of scenes left out of its fit (folds by scene).
import { CALL_FEATURES } from '../../dist/model/call-features.js';
import { CONTEXT_FEATURES } from '../../dist/model/context-features.js';
import { LOST_FEATURES } from '../../dist/attribute/lost-features.js';
import { UNTAGGED_AGAIN_FEATURES } from '../../dist/attribute/untagged-context.js';
import { UNTAGGED_FEATURES } from '../../dist/attribute/untagged-features.js';
import { judgeLostRows, judgeOwnRows, judgeUntaggedRows, labelLeftovers, labelLost, labelOwn, lookAgainAtLeftovers, takeFirstLook, takeSecondLook } from './label-scene.mjs';
import { fitRisingLine } from './train-forest.mjs';
import { trainSideBySide } from './train-side-by-side.mjs';

const FOLDS = 3;
/** Scenes of a block of seeds (one of each preset), and what was varied from them, are left out together: else a fold knows its scenes. */
const SEEDS_PER_BLOCK = 8;
/** Rows from here on take part in calibration: a little below what is written. */
const LEAST_LOG_ODDS = -1.5;

/**
 * @param scenes [{ seed, birds, truth, candidates, gains }]
 * @returns { models, folds: [{ models, scenes }] }: the models of all scenes, and per fold the models that never saw its scenes
 */
export async function fitModels(scenes, { trees = 200, log = () => {} } = {}) {
  for (const s of scenes) labelOwn(s);
  const foldOf = (s) => Math.floor(s.seed / SEEDS_PER_BLOCK) % FOLDS;
  const folds = Array.from({ length: FOLDS }, (_, k) => ({ test: scenes.filter((s) => foldOf(s) === k), train: scenes.filter((s) => foldOf(s) !== k), models: {} }));
  const models = {};
  /** The forest `name` of every fold and of all scenes. */
  const fit = async (name, x, y, features, options) => {
    const sets = [...folds.map((f) => f.train), scenes];
    const forests = await trainSideBySide(sets.map((set) => () => gatherRows(set, x, y, features, options)));
    folds.forEach((f, k) => { f.models[name] = forests[k]; });
    models[name] = forests[FOLDS];
    log(name);
  };
  const eachLeftOut = (work) => { for (const f of folds) for (const s of f.test) work(s, f.models); };
  const options = { trees, depth: 5, rate: 0.06 };
  const contextOptions = { ...options, trees: Math.round(trees * 0.8) };
  const untaggedOptions = { ...contextOptions, depth: 4 };

  await fit('first', 'x1', 'y', CALL_FEATURES, options);
  eachLeftOut((s, m) => takeFirstLook(s, m.first));
  await fit('second', 'x2', 'y', CONTEXT_FEATURES, contextOptions);
  eachLeftOut((s, m) => { takeSecondLook(s, m.second); s.x2 = undefined; });
  await fit('own', 'x3', 'y', CONTEXT_FEATURES, contextOptions);
  shareCalibration('own', calibrate(folds, (f, s) => judgeOwnRows(s, f.models.own, LEAST_LOG_ODDS)));
  eachLeftOut((s, m) => labelLeftovers(s, m.own));
  await fit('untagged', 'ux', 'uy', UNTAGGED_FEATURES, untaggedOptions);
  eachLeftOut((s, m) => lookAgainAtLeftovers(s, m.untagged));
  await fit('untaggedAgain', 'vx', 'uy', UNTAGGED_AGAIN_FEATURES, untaggedOptions);
  shareCalibration('untaggedAgain', calibrate(folds, (f, s) => judgeUntaggedRows(s, f.models.untaggedAgain, LEAST_LOG_ODDS)));
  eachLeftOut((s, m) => labelLost(s, m.untaggedAgain));
  await fit('lost', 'lx', 'ly', LOST_FEATURES, { ...options, trees: Math.round(trees * 0.4), depth: 3 });
  shareCalibration('lost', calibrate(folds, (f, s) => judgeLostRows(s, f.models.lost, LEAST_LOG_ODDS)));
  return { models, folds: folds.map((f) => ({ models: f.models, scenes: f.test })) };

  function shareCalibration(name, calibration) {
    for (const m of [models, ...folds.map((f) => f.models)]) m[name].calibration = calibration;
  }
}

/** Of sounds left over that are no calls, before any look at them: one of these, which counts as so many. */
const SOME = 4;

/** Rows, labels and weights of scenes: of what a look asks about. Shared sound is never the wearer's own: it takes part in the last questions only. */
function gatherRows(scenes, x, y, features, options) {
  const share = (s, n) => (!s[y][n] && x === 'ux' ? SOME : 1);
  const isAsked = (s, n) => s[x][n] !== undefined && !(y === 'y' && s.candidates[n].shared) && (n + s.seed) % share(s, n) === 0;
  const pick = (s, values) => values.filter((_, n) => isAsked(s, n));
  const weigh = (s) => s[y].map((label, n) => (label ? 1 : share(s, n) * (y === 'y' ? s.w[n] : 1)));
  const weights = Float64Array.from(scenes.flatMap((s) => pick(s, weigh(s))));
  return { rows: scenes.flatMap((s) => pick(s, s[x])), labels: scenes.flatMap((s) => pick(s, s[y])), features, options: { ...options, weights } };
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
