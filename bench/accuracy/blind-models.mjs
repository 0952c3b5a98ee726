// Ablation: the shipped forests made blind to one kind of evidence. A blinded feature is held at its median, own calls and other sounds
// weighing the same, which is the same as always taking that branch of every split on it. Nothing is fitted anew but the calibration of the
// log-odds, on the other scenes of the run (a scene never calibrates itself). A forest that had never had the feature would lean more on
// the rest and lose less.
import { labelLeftovers, labelLost, labelOwn, lookAgainAtLeftovers, takeFirstLook, takeSecondLook } from '../learn/label-scene.mjs';
import { fitCalibration } from '../learn/fit-calibration.mjs';
import { scoreForest } from '../../dist/model/forest.js';
import { findFeatures } from './evidence-groups.mjs';

/** Vectors and labels that each forest sees. Shared sound is nobody's own and is not asked about in the first three. */
const QUESTIONS = {
  first: ['x1', 'y', true], second: ['x2', 'y', true], own: ['x3', 'y', true], untagged: ['ux', 'uy', false], untaggedAgain: ['vx', 'uy', false], lost: ['lx', 'ly', false],
};

/**
 * @param scenes judged scenes, each with birds, truth and evidence
 * @returns models by scene, in the order of the scenes
 */
export function blindModels(models, kind, scenes) {
  const work = scenes.map((s) => ({ birds: s.birds, truth: s.truth, candidates: s.evidence.candidates, gains: s.evidence.gains }));
  for (const w of work) { labelOwn(w); look(w, models); labelLeftovers(w, models.own); lookAgainAtLeftovers(w, models.untagged); labelLost(w, models.untaggedAgain); }
  const blind = Object.fromEntries(Object.keys(QUESTIONS).map((name) => [name, blindForest(models[name], findFeatures(models[name], kind), collect(work, name))]));
  for (const w of work) look(w, blind);
  const own = calibrateEach(blind.own, work, 'own');
  work.forEach((w, k) => { labelLeftovers(w, own[k]); lookAgainAtLeftovers(w, blind.untagged); });
  const untaggedAgain = calibrateEach(blind.untaggedAgain, work, 'untaggedAgain');
  work.forEach((w, k) => labelLost(w, untaggedAgain[k]));
  const lost = calibrateEach(blind.lost, work, 'lost');
  return scenes.map((_, k) => ({ first: blind.first, second: blind.second, own: own[k], untagged: blind.untagged, untaggedAgain: untaggedAgain[k], lost: lost[k] }));
}

function look(w, { first, second }) {
  takeFirstLook(w, first);
  takeSecondLook(w, second);
}

/** The forest with some features held at their medians over { rows, labels }. */
export function blindForest(forest, features, { rows, labels }) {
  const middle = new Map(features.map((f) => [f, balancedMedian(rows.map((x) => x[f]), labels)]));
  const numbers = forest.numbers.map((t, n) => {
    const feature = forest.links[2 * n];
    return middle.has(feature) ? (middle.get(feature) < t ? Infinity : -Infinity) : t;
  });
  return { ...forest, numbers };
}

/** Weighted median in which both answers weigh the same; 0 where there is nothing. */
export function balancedMedian(values, labels) {
  const yes = labels.reduce((n, y) => n + y, 0);
  const weightOf = (y) => (yes === 0 || yes === labels.length ? 1 / labels.length : y ? 0.5 / yes : 0.5 / (labels.length - yes));
  const order = values.map((v, n) => ({ v, w: weightOf(labels[n]) })).sort((a, b) => a.v - b.v);
  let sum = 0;
  for (const { v, w } of order) { sum += w; if (sum >= 0.5 - 1e-12) return v; }
  return order.length ? order[order.length - 1].v : 0;
}

function collect(work, name) {
  const [x, y, ownOnly] = QUESTIONS[name];
  const rows = []; const labels = [];
  for (const w of work) w[x].forEach((v, n) => { if (ownOnly && w.candidates[n].shared) return; rows.push(v); labels.push(w[y][n]); });
  return { rows, labels };
}

/** The forest calibrated for each scene on all the others; as it was where they have too little to tell. */
function calibrateEach(forest, work, name) {
  const told = work.map((w) => {
    const { rows, labels } = collect([w], name);
    return { scores: rows.map((x) => scoreForest(forest, x)), labels };
  });
  return work.map((_, k) => {
    const others = told.filter((_, m) => m !== k), calibration = fitCalibration(others.flatMap((t) => t.scores), others.flatMap((t) => t.labels));
    return calibration.from.length < 2 ? forest : { ...forest, calibration };
  });
}
