import { RandomWords } from '../../numeric/random-words.js';

/** Result of a test that permutes the names of the birds. */
export interface PermutationTest {
  statistic: number;
  p: number;
  /** Permutations looked at, the observed one included. */
  permutations: number;
  isExact: boolean;
}

/** Up to 7 birds all 5040 orders are listed. */
const MOST_LISTED = 7;

/**
 * Mantel test of two square matrices by permuting rows and columns of the second together (Mantel 1967, Cancer Res. 27:209-220; quadratic
 * assignment: Krackhardt 1988): correlation of the entries off the diagonal, one-sided for likeness. Pairs of which either is NaN are left out.
 * All orders are listed up to 7 birds; else `draws` are drawn and the observed one is added.
 */
export function testLikeness(x: readonly (readonly number[])[], y: readonly (readonly number[])[], draws: number, seed: number): PermutationTest {
  return permuteBirds(x.length, (order) => correlateOffDiagonal(x, y, order), draws, seed, false);
}

/**
 * Is the mean entry of marked pairs another than that of the rest? Names are permuted on the marks, so that a bird that is strong in all its
 * pairs does not count as many times as it has pairs. Two-sided.
 */
export function testContrast(weight: readonly (readonly number[])[], isMarked: readonly (readonly boolean[])[], draws: number, seed: number): PermutationTest {
  return permuteBirds(weight.length, (order) => contrastMeans(weight, isMarked, order), draws, seed, true);
}

function permuteBirds(n: number, measure: (order: readonly number[]) => number, draws: number, seed: number, twoSided: boolean): PermutationTest {
  const identity = Array.from({ length: n }, (_, i) => i);
  const statistic = measure(identity);
  if (!Number.isFinite(statistic)) return { statistic, p: NaN, permutations: 0, isExact: false };
  // Two orders may give the same sum in another order of terms.
  const bar = (twoSided ? Math.abs(statistic) : statistic) - 1e-12;
  let extreme = 0;
  let count = 0;
  const look = (order: readonly number[]): void => {
    const value = measure(order);
    if (!((twoSided ? Math.abs(value) : value) < bar)) extreme++;
    count++;
  };
  if (n <= MOST_LISTED) listOrders(identity, 0, look);
  else {
    const random = new RandomWords(seed);
    look(identity);
    for (let d = 0; d < draws; d++) {
      for (let i = n - 1; i > 0; i--) { const j = random.nextBelow(i + 1); [identity[i], identity[j]] = [identity[j], identity[i]]; }
      look(identity);
    }
  }
  return { statistic, p: extreme / count, permutations: count, isExact: n <= MOST_LISTED };
}

function listOrders(order: number[], from: number, look: (order: readonly number[]) => void): void {
  if (from >= order.length - 1) return look(order);
  for (let i = from; i < order.length; i++) {
    [order[from], order[i]] = [order[i], order[from]];
    listOrders(order, from + 1, look);
    [order[from], order[i]] = [order[i], order[from]];
  }
}

/** Pearson correlation over pairs i != j of x[i][j] and y[order[i]][order[j]]; NaN where either does not vary. */
export function correlateOffDiagonal(x: readonly (readonly number[])[], y: readonly (readonly number[])[], order: readonly number[]): number {
  const xs: number[] = [];
  const ys: number[] = [];
  for (let i = 0; i < x.length; i++) {
    for (let j = 0; j < x.length; j++) {
      if (i === j || Number.isNaN(x[i][j]) || Number.isNaN(y[order[i]][order[j]])) continue;
      xs.push(x[i][j]);
      ys.push(y[order[i]][order[j]]);
    }
  }
  return correlate(xs, ys);
}

export function correlate(x: readonly number[], y: readonly number[]): number {
  const meanX = x.reduce((s, v) => s + v, 0) / x.length;
  const meanY = y.reduce((s, v) => s + v, 0) / y.length;
  let xy = 0;
  let xx = 0;
  let yy = 0;
  for (let i = 0; i < x.length; i++) {
    xy += (x[i] - meanX) * (y[i] - meanY);
    xx += (x[i] - meanX) * (x[i] - meanX);
    yy += (y[i] - meanY) * (y[i] - meanY);
  }
  return xx > 0 && yy > 0 ? xy / Math.sqrt(xx * yy) : NaN;
}

function contrastMeans(weight: readonly (readonly number[])[], isMarked: readonly (readonly boolean[])[], order: readonly number[]): number {
  const sums = [0, 0];
  const counts = [0, 0];
  for (let i = 0; i < weight.length; i++) {
    for (let j = 0; j < weight.length; j++) {
      if (i === j || Number.isNaN(weight[i][j])) continue;
      const k = isMarked[order[i]][order[j]] ? 1 : 0;
      sums[k] += weight[i][j];
      counts[k]++;
    }
  }
  return sums[1] / counts[1] - sums[0] / counts[0];
}
