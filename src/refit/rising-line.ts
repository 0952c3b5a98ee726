import { solveCholesky } from '../model/solve.js';
import { exp, ln } from '../numeric/elementary.js';

/**
 * A correction of stated probabilities: log-odds z become BEND + shift + lowSlope (z - BEND) below the bend and BEND + shift + highSlope
 * (z - BEND) above it, plus untaggedShift for callers without a tag. Slopes are above 0: what was surer stays surer.
 */
export interface RisingLine {
  shift: number;
  lowSlope: number;
  highSlope: number;
  untaggedShift: number;
}

/** A row of a call table about which is known whether it is a real call of the bird that it names. */
export interface JudgedRow {
  probability: number;
  isUntagged: boolean;
  isRight: boolean;
  /** How many rows of the table it stands for. */
  weight: number;
}

/** Log-odds of .88, as in the shipped calibration: most rows are surer, and doubtful rows are another kind. */
const BEND = 2;
const LEAST_SLOPE = 0.05;
/** Probabilities are kept this far from 0 and 1, as in the tables of `attribute`. */
const MARGIN = 0.0005;
/** The shipped calibration, and by how much a study is expected to differ from it (standard deviations); own choice, measured by bench/refit. */
const PRIOR_MEAN = [0, 1, 1, 0];
const PRIOR_SPREAD = [0.7, 0.3, 0.3, 0.5];
const MOST_ROUNDS = 60;

/** Log-odds of a probability, kept within .0005 of 0 and 1. */
export function toLogOdds(probability: number): number {
  const p = Math.min(1 - MARGIN, Math.max(MARGIN, probability));
  return ln(p / (1 - p));
}

/** The corrected probability, within .0005 of 0 and 1. */
export function applyLine(line: RisingLine, probability: number, isUntagged: boolean): number {
  const x = describe(probability, isUntagged);
  const z = BEND + line.shift * x[0] + line.lowSlope * x[1] + line.highSlope * x[2] + line.untaggedShift * x[3];
  return Math.min(1 - MARGIN, Math.max(MARGIN, 1 / (1 + exp(-z))));
}

/**
 * Fits the correction by penalized logistic likelihood (normal priors around no correction, so that few rows hardly change anything), by
 * Newton's method with the slopes held above 0. Rows are weighted by what they stand for, all weights together counting as many rows as a
 * plain sample of the same worth would have (Kish 1965, effective sample size; from memory).
 */
export function fitLine(rows: readonly JudgedRow[]): RisingLine {
  const sum = rows.reduce((s, r) => s + r.weight, 0);
  const scale = sum / rows.reduce((s, r) => s + r.weight ** 2, 0);
  const data = rows.map((r) => ({ x: describe(r.probability, r.isUntagged), y: Number(r.isRight), weight: r.weight * scale }));
  let w = [...PRIOR_MEAN];
  let loss = measureLoss(data, w);
  for (let round = 0; round < MOST_ROUNDS; round++) {
    const step = findStep(data, w);
    let next = w;
    let nextLoss = loss;
    // A step that is too long is halved: the slopes' limits bend the way down.
    for (let part = 1; part > 1e-6; part /= 2) {
      next = keepRising(w.map((v, i) => v + part * step[i]));
      nextLoss = measureLoss(data, next);
      if (nextLoss <= loss) break;
    }
    const moved = Math.max(...next.map((v, i) => Math.abs(v - w[i])));
    if (nextLoss > loss) break;
    [w, loss] = [next, nextLoss];
    if (moved < 1e-9) break;
  }
  return { shift: w[0], lowSlope: w[1], highSlope: w[2], untaggedShift: w[3] };
}

interface Point { x: number[]; y: number; weight: number }

function describe(probability: number, isUntagged: boolean): number[] {
  const z = toLogOdds(probability);
  return [1, Math.min(0, z - BEND), Math.max(0, z - BEND), Number(isUntagged)];
}

function keepRising(w: number[]): number[] {
  return [w[0], Math.max(LEAST_SLOPE, w[1]), Math.max(LEAST_SLOPE, w[2]), w[3]];
}

function readLine(w: readonly number[], x: readonly number[]): number {
  return BEND + w[0] * x[0] + w[1] * x[1] + w[2] * x[2] + w[3] * x[3];
}

function measureLoss(data: readonly Point[], w: readonly number[]): number {
  let loss = 0;
  w.forEach((v, i) => { loss += ((v - PRIOR_MEAN[i]) / PRIOR_SPREAD[i]) ** 2 / 2; });
  for (const { x, y, weight } of data) {
    const z = readLine(w, x);
    // -ln of the probability of the outcome, without overflow on either side.
    const against = y === 1 ? -z : z;
    loss += weight * (Math.max(0, against) + ln(1 + exp(-Math.abs(against))));
  }
  return loss;
}

/** Newton's step; a slope at its limit that would go below it stays where it is. */
function findStep(data: readonly Point[], w: readonly number[]): number[] {
  const n = w.length;
  const a = new Float64Array(n * n);
  const g = w.map((v, i) => -(v - PRIOR_MEAN[i]) / PRIOR_SPREAD[i] ** 2);
  for (let i = 0; i < n; i++) a[i * n + i] = 1 / PRIOR_SPREAD[i] ** 2;
  for (const { x, y, weight } of data) {
    const p = 1 / (1 + exp(-readLine(w, x)));
    for (let i = 0; i < n; i++) {
      g[i] += weight * (y - p) * x[i];
      for (let j = 0; j < n; j++) a[i * n + j] += weight * p * (1 - p) * x[i] * x[j];
    }
  }
  for (const k of [1, 2]) {
    if (w[k] > LEAST_SLOPE || g[k] > 0) continue;
    for (let j = 0; j < n; j++) a[k * n + j] = a[j * n + k] = Number(j === k);
    g[k] = 0;
  }
  return [...solveCholesky(a, Float64Array.from(g))];
}
