// Fits the four forests on scenes, with calibration on scenes left out of the fit (folds by scene).
import { CALL_FEATURES } from '../../dist/model/call-features.js';
import { CONTEXT_FEATURES } from '../../dist/model/context-features.js';
import { scoreForest } from '../../dist/model/forest.js';
import { LOST_FEATURES } from '../../dist/attribute/lost-features.js';
import { UNTAGGED_FEATURES } from '../../dist/attribute/untagged-features.js';
import { labelLeftovers, labelOwn, lookAgain } from './label-scene.mjs';
import { fitCalibration, trainForest } from './train-forest.mjs';

const FOLDS = 3;

/**
 * @param scenes [{ birds, truth, candidates, gains }]
 * @returns { models, folds: [{ models, scenes }] }: the models of all scenes, and per fold the models that never saw its scenes
 */
export function fitModels(scenes, { trees = 200, log = () => {} } = {}) {
  for (const s of scenes) labelOwn(s);
  const folds = Array.from({ length: FOLDS }, (_, k) => ({ test: scenes.filter((_, i) => i % FOLDS === k), train: scenes.filter((_, i) => i % FOLDS !== k), models: {} }));
  // Shared sound is never the wearer's own: it takes part in the last question only.
  const isAsked = (s, x, n) => x === 'ux' || x === 'lx' || !s.candidates[n].shared;
  const fit = (set, x, y, features, o) => {
    const pick = (s, k) => s[k].filter((_, n) => isAsked(s, x, n));
    const labels = set.flatMap((s) => pick(s, y));
    const weights = y === 'y' ? set.flatMap((s) => pick(s, 'w')).map((w, n) => (labels[n] ? 1 : w)) : undefined;
    return trainForest(set.flatMap((s) => pick(s, x)), labels, features, { ...o, weights });
  };
  const options = { trees, depth: 4, rate: 0.08 };

  for (const f of folds) f.models.first = fit(f.train, 'x1', 'y', CALL_FEATURES, options);
  for (const f of folds) for (const s of f.test) lookAgain(s, f.models.first);
  log('first look');
  const secondOptions = { ...options, trees: Math.round(trees * 0.8) };
  for (const f of folds) f.models.own = fit(f.train, 'x2', 'y', CONTEXT_FEATURES, secondOptions);
  const own = leaveOut(folds, 'own', 'x2', 'y');
  for (const f of folds) f.models.own.calibration = own;
  for (const f of folds) for (const s of f.test) labelLeftovers(s, f.models.own);
  log('second look');
  const untaggedOptions = { ...options, trees: Math.round(trees * 0.6), depth: 3 };
  for (const f of folds) f.models.untagged = fit(f.train, 'ux', 'uy', UNTAGGED_FEATURES, untaggedOptions);
  const untagged = leaveOut(folds, 'untagged', 'ux', 'uy');
  for (const f of folds) f.models.untagged.calibration = untagged;
  log('untagged');
  const lostOptions = { ...options, trees: Math.round(trees * 0.4), depth: 3 };
  for (const f of folds) f.models.lost = fit(f.train, 'lx', 'ly', LOST_FEATURES, lostOptions);
  const lost = leaveOut(folds, 'lost', 'lx', 'ly');
  for (const f of folds) f.models.lost.calibration = lost;
  log('lost links');

  const models = {
    first: fit(scenes, 'x1', 'y', CALL_FEATURES, options),
    own: fit(scenes, 'x2', 'y', CONTEXT_FEATURES, secondOptions),
    untagged: fit(scenes, 'ux', 'uy', UNTAGGED_FEATURES, untaggedOptions),
    lost: fit(scenes, 'lx', 'ly', LOST_FEATURES, lostOptions),
  };
  models.lost.calibration = lost;
  models.own.calibration = own;
  models.untagged.calibration = untagged;
  return { models, folds: folds.map((f) => ({ models: f.models, scenes: f.test })) };
}

function leaveOut(folds, name, x, y) {
  const scores = [];
  const labels = [];
  for (const f of folds) for (const s of f.test) s[x].forEach((v, n) => { if (x !== 'ux' && x !== 'lx' && s.candidates[n].shared) return; scores.push(scoreForest(f.models[name], v)); labels.push(s[y][n]); });
  return fitCalibration(scores, labels);
}
