import { describe, expect, it } from 'vitest';
import { adjustBenjaminiHochberg, adjustHolm } from '../../src/numeric/adjust-p-values.js';
import { computeDetectable, computeEquivalencePower, estimateMean, testEquivalence } from '../../src/numeric/equivalence.js';
import { studentCdf, studentQuantile } from '../../src/numeric/distributions.js';
import { RandomWords } from '../../src/numeric/random-words.js';
import { testSignFlip } from '../../src/numeric/sign-flip.js';

// Darwin (1876), cross- against self-fertilised maize, in eighths of an inch, as Fisher (1935) section 21 tests them.
const MAIZE = [49, -67, 8, 16, 6, 23, 28, 41, 14, 29, 56, 24, 75, 60, -48];
// Additional hours of sleep, Student (1908) Biometrika 6, 1-25, p. 20: differences of the two drugs.
const SLEEP = [1.2, 2.4, 1.3, 1.3, 0, 1.0, 1.8, 0.8, 4.6, 1.4];

describe('sign flips', () => {
  it("give Fisher's 863 of 32768 on Darwin's maize", () => {
    const test = testSignFlip(MAIZE);
    expect(test).toMatchObject({ isExact: true, flips: 32768 });
    expect(test.pValue).toBe((2 * 863) / 32768);
    expect(test.mean).toBeCloseTo(314 / 15, 12);
  });

  it('keep a difference of zero', () => {
    expect(testSignFlip(SLEEP).pValue).toBe(4 / 1024);
    expect(testSignFlip([0, 0, 0]).pValue).toBe(1);
    expect(testSignFlip([]).pValue).toBe(1);
  });

  it('agree with a plain loop over all patterns', () => {
    const random = new RandomWords(7);
    for (let n = 1; n <= 9; n++) {
      const d = Array.from({ length: n }, () => Math.round(20 * random.nextUnit() - 8) / 4);
      const observed = Math.abs(d.reduce((s, v) => s + v, 0));
      let count = 0;
      for (let pattern = 0; pattern < 2 ** n; pattern++) if (Math.abs(d.reduce((s, v, i) => s + ((pattern >> i) & 1 ? v : -v), 0)) >= observed - 1e-9) count++;
      expect(testSignFlip(d).pValue).toBe(count / 2 ** n);
    }
  });

  it('are drawn from a seed where there are many, near the exact value', () => {
    const drawn = testSignFlip(MAIZE, { exactUpTo: 10, draws: 99999, seed: 3 });
    expect(drawn.isExact).toBe(false);
    expect(testSignFlip(MAIZE, { exactUpTo: 10, draws: 99999, seed: 3 })).toEqual(drawn);
    // Four standard errors of a share of .0527 in 99999 draws.
    expect(Math.abs(drawn.pValue - 1726 / 32768)).toBeLessThan(4 * Math.sqrt((0.0527 * 0.9473) / 99999));
    expect(testSignFlip(Array.from({ length: 40 }, () => 1)).pValue).toBe(1 / 100000);
  });
});

describe('many tests', () => {
  // Benjamini & Hochberg (1995), example 3.2: fifteen p values of a trial of thrombolysis.
  const P = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.324, 0.4262, 0.5719, 0.6528, 0.759, 1];

  it('rejects four with the false discovery rate and three with Holm', () => {
    expect(adjustBenjaminiHochberg(P).filter((p) => p <= 0.05)).toHaveLength(4);
    expect(adjustHolm(P).filter((p) => p <= 0.05)).toHaveLength(3);
  });

  it("has the adjusted values of R's p.adjust, in any order", () => {
    const bh = [0.0015, 0.003, 0.0095, 0.035625, 0.0603, 0.0638571, 0.0638571, 0.0645, 0.0765, 0.486, 0.5811818, 0.714875, 0.7532308, 0.8132143, 1];
    const holm = [0.0015, 0.0056, 0.0247, 0.114, 0.2211, 0.278, 0.278, 0.278, 0.3213, 1, 1, 1, 1, 1, 1];
    adjustBenjaminiHochberg(P).forEach((p, i) => expect(p).toBeCloseTo(bh[i], 7));
    adjustHolm(P).forEach((p, i) => expect(p).toBeCloseTo(holm[i], 9));
    const reversed = adjustHolm([...P].reverse());
    expect(reversed.reverse()).toEqual(adjustHolm(P));
  });

  it('leaves out what could not be tested', () => {
    expect(adjustHolm([0.01, NaN, 0.04])).toEqual([0.02, NaN, 0.04]);
  });
});

describe('equivalence', () => {
  const sleep = estimateMean(SLEEP);

  it('has mean and t of Student (1908)', () => {
    expect(sleep.mean).toBeCloseTo(1.58, 12);
    expect(sleep.mean / sleep.standardError).toBeCloseTo(4.0621, 4);
    expect(2 * (1 - studentCdf(sleep.mean / sleep.standardError, 9))).toBeCloseTo(0.00283289, 7);
  });

  it.each([[3, 0.0026555703], [2.5, 0.0211168642], [2, 0.1541572357]])("of the two drugs within %d h has p %d (R's and scipy's t distribution)", (margin, p) => {
    expect(testEquivalence(sleep, margin).pValue).toBeCloseTo(p, 7);
  });

  it('is shown just when the 90 % interval lies within the margin', () => {
    const { low, high } = testEquivalence(sleep, 2.5);
    expect(low).toBeCloseTo(0.8669947, 6);
    expect(high).toBeCloseTo(2.2930053, 6);
    expect(testEquivalence(sleep, high + 1e-6).pValue).toBeLessThan(0.05);
    expect(testEquivalence(sleep, high - 1e-6).pValue).toBeGreaterThan(0.05);
  });

  it('claims a difference at the margin to be none in at most 5 of 100 samples', () => {
    const random = new RandomWords(11);
    let claims = 0;
    for (let k = 0; k < 2000; k++) {
      const values = Array.from({ length: 8 }, () => 0.2 + 0.1 * Math.sqrt(-2 * Math.log(1 - random.nextUnit())) * Math.cos(2 * Math.PI * random.nextUnit()));
      if (testEquivalence(estimateMean(values), 0.2).pValue < 0.05) claims++;
    }
    // 5 % and four standard errors of 2000 draws.
    expect(claims / 2000).toBeLessThan(0.05 + 4 * Math.sqrt((0.05 * 0.95) / 2000));
    expect(claims).toBeGreaterThan(40);
  });

  it('decides by the mean alone where nothing scatters', () => {
    expect(testEquivalence({ mean: 0.1, standardError: 0, dof: 5 }, 0.2).pValue).toBe(0);
    expect(testEquivalence({ mean: 0.3, standardError: 0, dof: 5 }, 0.2).pValue).toBe(1);
    expect(testEquivalence({ mean: 0.3, standardError: NaN, dof: 0 }, 0.2).pValue).toBeNaN();
  });

  // Exact values by scipy's non-central t: differences found with power .8 at 5 %, standard deviation 1.
  it.each([[6, 1.4345453], [10, 0.9960023], [25, 0.5840274]])('tells what %i pairs could have found', (n, exact) => {
    expect(Math.abs(computeDetectable(1 / Math.sqrt(n), n - 1) / exact - 1)).toBeLessThan(0.01);
  });

  it('has more power with less error and none where the margin is within the noise', () => {
    expect(computeEquivalencePower(0.02, 10, 0.2)).toBeGreaterThan(0.99);
    expect(computeEquivalencePower(0.2, 10, 0.2)).toBe(0);
    expect(computeEquivalencePower(0, 10, 0.2)).toBe(1);
  });
});

describe("Student's t", () => {
  it('has the quantiles of printed tables (Student 1925; any table of t): 12.706, 2.262, 2.086 at .975', () => {
    [[1, 12.706], [9, 2.262], [20, 2.086]].forEach(([dof, t]) => expect(studentQuantile(0.975, dof)).toBeCloseTo(t, 3));
    expect([studentCdf(0, 5), studentCdf(Infinity, 5), studentCdf(-Infinity, 5), studentQuantile(0.5, 3)]).toEqual([0.5, 1, 0, 0]);
  });
});
