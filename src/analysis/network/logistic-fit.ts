import { CholeskyDecomposition, Matrix } from 'ml-matrix';
import { VolaryError } from '../../schema/errors.js';
import { exp, ln } from '../../numeric/elementary.js';

/** Rows of a regression, most of whose entries are 0. */
export interface SparseRows {
  columns: number;
  /** Entries of row r: index[start[r]] to index[start[r + 1] - 1] and the values beside. */
  start: ArrayLike<number>;
  index: ArrayLike<number>;
  value: ArrayLike<number>;
  /** 1 = an event, 0 = none. */
  outcome: ArrayLike<number>;
  /** Added to the linear predictor, not fitted. */
  offset: ArrayLike<number>;
  /** Rows that may depend on each other share a number 0, 1, 2 ...; ascending is not needed. */
  cluster: ArrayLike<number>;
}

export interface LogisticFit {
  weights: Float64Array;
  /** Covariance of the weights (columns x columns): the inverse of the penalised information. */
  covariance: Matrix;
  /** The same allowing for dependence inside clusters. */
  robust: Matrix;
  logLikelihood: number;
  rounds: number;
}

/**
 * Logistic regression with a ridge penalty by Newton's method (iteratively reweighted least squares; McCullagh and Nelder 1989, section 4.4),
 * halving a step that makes things worse. Robust covariance by clusters after Liang and Zeger (1986, Biometrika 73:13-22).
 * @param ridge penalty of each column: half of ridge times weight squared is taken from the log likelihood.
 * @throws VolaryError 'not-fit' where the information is singular (a column without ridge that the data do not determine).
 */
export function fitLogistic(rows: SparseRows, ridge: ArrayLike<number>): LogisticFit {
  let weights = new Float64Array(rows.columns);
  let state = evaluate(rows, weights, ridge);
  let rounds = 0;
  for (; rounds < 50; rounds++) {
    const step = factor(state.information).solve(Matrix.columnVector(Array.from(state.score))).to1DArray();
    let scale = 1;
    let next = state;
    let moved = weights;
    for (; scale > 1e-6; scale /= 2) {
      moved = weights.map((w, k) => w + scale * step[k]);
      next = evaluate(rows, moved, ridge);
      if (next.penalised >= state.penalised - 1e-9 * Math.abs(state.penalised)) break;
    }
    const largest = step.reduce((m, s) => Math.max(m, Math.abs(s)), 0) * scale;
    weights = moved;
    state = next;
    if (largest < 1e-8) break;
  }
  const covariance = factor(state.information).solve(Matrix.eye(rows.columns));
  return { weights, covariance, robust: covariance.mmul(sumClusters(rows, state.residual)).mmul(covariance), logLikelihood: state.logLikelihood, rounds };
}

function factor(information: Matrix): CholeskyDecomposition {
  const cholesky = new CholeskyDecomposition(information);
  if (!cholesky.isPositiveDefinite()) throw new VolaryError('not-fit', { what: 'the regression cannot be fitted', got: 'columns that the data do not tell apart', expected: 'more calls, or a larger ridge' });
  return cholesky;
}

interface State {
  logLikelihood: number;
  penalised: number;
  score: Float64Array;
  information: Matrix;
  residual: Float64Array;
}

function evaluate(rows: SparseRows, weights: Float64Array, ridge: ArrayLike<number>): State {
  const n = rows.columns;
  const information = new Float64Array(n * n);
  const score = new Float64Array(n);
  const residual = new Float64Array(rows.outcome.length);
  const { start, index, value } = rows;
  let logLikelihood = 0;
  for (let r = 0; r < rows.outcome.length; r++) {
    let eta = rows.offset[r];
    for (let e = start[r]; e < start[r + 1]; e++) eta += value[e] * weights[index[e]];
    // Written so that neither branch overflows.
    const small = exp(-Math.abs(eta));
    const chance = (eta >= 0 ? 1 : small) / (1 + small);
    logLikelihood += (rows.outcome[r] ? Math.min(eta, 0) : Math.min(-eta, 0)) - ln(1 + small);
    residual[r] = rows.outcome[r] - chance;
    const weight = chance * (1 - chance);
    for (let e = start[r]; e < start[r + 1]; e++) {
      score[index[e]] += value[e] * residual[r];
      const scaled = weight * value[e];
      const line = index[e] * n;
      // Entries ascend within a row: only the lower triangle is summed.
      for (let f = start[r]; f <= e; f++) information[line + index[f]] += scaled * value[f];
    }
  }
  let penalised = logLikelihood;
  const matrix = Matrix.zeros(n, n);
  for (let k = 0; k < n; k++) {
    penalised -= 0.5 * ridge[k] * weights[k] * weights[k];
    score[k] -= ridge[k] * weights[k];
    for (let m = 0; m <= k; m++) { matrix.set(k, m, information[k * n + m]); matrix.set(m, k, information[k * n + m]); }
    matrix.set(k, k, information[k * n + k] + ridge[k]);
  }
  return { logLikelihood, penalised, score, information: matrix, residual };
}

/** Sum over clusters of the outer product of their scores. */
function sumClusters(rows: SparseRows, residual: Float64Array): Matrix {
  const n = rows.columns;
  const scores = new Map<number, Float64Array>();
  for (let r = 0; r < residual.length; r++) {
    let sum = scores.get(rows.cluster[r]);
    if (!sum) scores.set(rows.cluster[r], (sum = new Float64Array(n)));
    for (let e = rows.start[r]; e < rows.start[r + 1]; e++) sum[rows.index[e]] += rows.value[e] * residual[r];
  }
  const meat = Matrix.zeros(n, n);
  for (const s of scores.values()) {
    for (let k = 0; k < n; k++) {
      if (s[k] !== 0) for (let m = 0; m < n; m++) meat.set(k, m, meat.get(k, m) + s[k] * s[m]);
    }
  }
  return meat;
}
