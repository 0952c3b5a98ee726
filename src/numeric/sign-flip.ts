import { RandomWords } from './random-words.js';

export interface SignFlipTest {
  /** Mean of the differences. */
  mean: number;
  /** Two-sided. */
  pValue: number;
  /** True where all 2^n sign patterns were looked at. */
  isExact: boolean;
  /** Sign patterns looked at. */
  flips: number;
}

export interface SignFlipOptions {
  /** Most differences whose sign patterns are all looked at. */
  exactUpTo?: number;
  /** Patterns drawn where there are more. */
  draws?: number;
  seed?: number;
}

/**
 * Paired randomisation test of no difference (Fisher 1935, The Design of Experiments, section 21): the share of sign patterns whose sum is
 * at least as far from 0 as the one observed. Exact up to 20 differences; beyond, patterns are drawn at random from a seed and the
 * observed one counts as one of them, so that p is never 0. Zero differences stay in. p is 1 without differences.
 * @example testSignFlip([1.2, 2.4, 1.3]).pValue // 0.25
 */
export function testSignFlip(differences: readonly number[], options: SignFlipOptions = {}): SignFlipTest {
  const { exactUpTo = 20, draws = 99999, seed = 1 } = options;
  const n = differences.length;
  const sum = differences.reduce((s, d) => s + d, 0);
  // Sums that are equal but for rounding count as equal.
  const least = Math.abs(sum) - 1e-9 * differences.reduce((s, d) => s + Math.abs(d), 0);
  if (n <= exactUpTo) {
    const flips = 2 ** n;
    return { mean: n ? sum / n : NaN, pValue: countAll(differences, least) / flips, isExact: true, flips };
  }
  return { mean: sum / n, pValue: (countDrawn(differences, least, draws, new RandomWords(seed)) + 1) / (draws + 1), isExact: false, flips: draws };
}

/** All patterns in Gray order: each differs from the one before in one sign. */
function countAll(differences: readonly number[], least: number): number {
  const n = differences.length;
  const signs = new Float64Array(n).fill(1);
  let sum = differences.reduce((s, d) => s + d, 0);
  let count = Math.abs(sum) >= least ? 1 : 0;
  for (let pattern = 1; pattern < 2 ** n; pattern++) {
    const turn = 31 - Math.clz32(pattern & -pattern);
    signs[turn] = -signs[turn];
    sum += 2 * signs[turn] * differences[turn];
    if (Math.abs(sum) >= least) count++;
  }
  return count;
}

function countDrawn(differences: readonly number[], least: number, draws: number, random: RandomWords): number {
  let count = 0;
  for (let draw = 0; draw < draws; draw++) {
    let sum = 0;
    let bits = 0;
    for (let i = 0; i < differences.length; i++) {
      if (i % 32 === 0) bits = random.nextWord();
      sum += bits & 1 ? differences[i] : -differences[i];
      bits >>>= 1;
    }
    if (Math.abs(sum) >= least) count++;
  }
  return count;
}
