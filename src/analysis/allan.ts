import { VolaryError } from '../schema/errors.js';

/**
 * Allan statistics of a clock from its offset (phase, seconds) at even steps, after NIST SP 1065 (Riley 2008), chapter 5.
 * All take the offsets x[k] at spacing tau0 and the averaging factor m (tau = m tau0) and return the deviation, NaN where the series is too short.
 */
export type AllanStatistic = (offsetSec: ArrayLike<number>, tau0Sec: number, m: number) => number;

/** Allan deviation, intervals side by side. */
export const computeAdev: AllanStatistic = (x, tau0, m) => secondDifferences(x, tau0, m, m);

/** Overlapping Allan deviation: every start, the usual choice. */
export const computeOadev: AllanStatistic = (x, tau0, m) => secondDifferences(x, tau0, m, 1);

/** Hadamard deviation, intervals side by side: blind to a steady change of rate. */
export const computeHdev: AllanStatistic = (x, tau0, m) => thirdDifferences(x, tau0, m, m);

/** Overlapping Hadamard deviation. */
export const computeOhdev: AllanStatistic = (x, tau0, m) => thirdDifferences(x, tau0, m, 1);

/** Modified Allan deviation: phases averaged over tau first, which tells white from flicker noise of phase. */
export const computeMdev: AllanStatistic = (x, tau0, m) => {
  checkFactor(tau0, m);
  const n = x.length;
  let window = 0;
  for (let k = 0; k < m && k + 2 * m < n; k++) window += x[k + 2 * m] - 2 * x[k + m] + x[k];
  let sum = 0;
  let count = 0;
  for (let j = 0; j + 3 * m <= n; j++) {
    sum += window ** 2;
    count++;
    if (j + 3 * m < n) window += x[j + 3 * m] - 3 * x[j + 2 * m] + 3 * x[j + m] - x[j];
  }
  return count ? Math.sqrt(sum / (2 * m ** 4 * tau0 ** 2 * count)) : NaN;
};

/** Time deviation, seconds: tau times the modified Allan deviation over the square root of three. */
export const computeTdev: AllanStatistic = (x, tau0, m) => (m * tau0 * computeMdev(x, tau0, m)) / Math.sqrt(3);

/** Total deviation: the series is continued by reflection at both ends, for certainty at long intervals. */
export const computeTotdev: AllanStatistic = (x, tau0, m) => {
  checkFactor(tau0, m);
  const n = x.length;
  if (n < 3 || m > n - 1) return NaN;
  const read = (k: number): number => (k < 0 ? 2 * x[0] - x[-k] : k >= n ? 2 * x[n - 1] - x[2 * (n - 1) - k] : x[k]);
  let sum = 0;
  for (let k = 1; k < n - 1; k++) sum += (read(k - m) - 2 * x[k] + read(k + m)) ** 2;
  return Math.sqrt(sum / (2 * (m * tau0) ** 2 * (n - 2)));
};

function secondDifferences(x: ArrayLike<number>, tau0: number, m: number, stride: number): number {
  checkFactor(tau0, m);
  let sum = 0;
  let count = 0;
  for (let k = 0; k + 2 * m < x.length; k += stride) {
    sum += (x[k + 2 * m] - 2 * x[k + m] + x[k]) ** 2;
    count++;
  }
  return count ? Math.sqrt(sum / (2 * count)) / (m * tau0) : NaN;
}

function thirdDifferences(x: ArrayLike<number>, tau0: number, m: number, stride: number): number {
  checkFactor(tau0, m);
  let sum = 0;
  let count = 0;
  for (let k = 0; k + 3 * m < x.length; k += stride) {
    sum += (x[k + 3 * m] - 3 * x[k + 2 * m] + 3 * x[k + m] - x[k]) ** 2;
    count++;
  }
  return count ? Math.sqrt(sum / (6 * count)) / (m * tau0) : NaN;
}

function checkFactor(tau0Sec: number, m: number): void {
  if (tau0Sec > 0 && Number.isInteger(m) && m >= 1) return;
  throw new VolaryError('bad-option', { what: 'no such averaging interval', got: `${m} times ${tau0Sec} s`, expected: 'a whole number of positive steps' });
}

export interface AllanPoint { tauSec: number; deviation: number; count: number }

/**
 * Overlapping Allan deviation in octaves of tau, from the step to a third of the series.
 * @param offsetSec offsets at even steps, at least four
 */
export function tabulateAllan(offsetSec: ArrayLike<number>, tau0Sec: number): AllanPoint[] {
  const out: AllanPoint[] = [];
  for (let m = 1; 3 * m <= offsetSec.length - 1; m *= 2) out.push({ tauSec: m * tau0Sec, deviation: computeOadev(offsetSec, tau0Sec, m), count: offsetSec.length - 2 * m });
  return out;
}
