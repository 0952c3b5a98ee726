import { describe, expect, it } from 'vitest';
import { estimateDispersion, estimatePoisson, estimateQuasiPoisson, estimateWeightedPoisson } from '../../src/numeric/poisson-interval.js';

describe('exact Poisson interval', () => {
  // Garwood (1936) Biometrika 28, 437-442, 95 %, as standard tables print it; the same from R's qchisq.
  const TABLE: [number, number, number][] = [
    [0, 0, 3.6889], [1, 0.0253, 5.5716], [2, 0.2422, 7.2247], [3, 0.6187, 8.7673], [4, 1.0899, 10.2416], [5, 1.6235, 11.6683], [6, 2.2019, 13.0595],
    [7, 2.8144, 14.4227], [8, 3.4538, 15.7632], [9, 4.1154, 17.0848], [10, 4.7954, 18.3904],
  ];
  it.each(TABLE)('of %i events is that of Garwood', (count, low, high) => {
    const found = estimatePoisson(count);
    // Four decimals are printed.
    expect(Math.abs(found.low - low)).toBeLessThan(5.1e-5);
    expect(Math.abs(found.high - high)).toBeLessThan(5.1e-5);
  });

  it('leaves 2.5 % on either side, by the plain sum of Poisson terms', () => {
    const cdf = (count: number, mean: number): number => {
      let [term, sum] = [Math.exp(-mean), 0];
      for (let k = 0; k <= count; k++) { sum += term; term *= mean / (k + 1); }
      return sum;
    };
    for (const count of [1, 4, 37, 200]) {
      const { low, high } = estimatePoisson(count);
      expect(1 - cdf(count - 1, low)).toBeCloseTo(0.025, 7);
      expect(cdf(count, high)).toBeCloseTo(0.025, 7);
    }
  });

  it('of weights 1 is the same, and of other weights that of Fay and Feuer (1997)', () => {
    for (const n of [0, 1, 10, 400]) {
      expect(estimateWeightedPoisson(n, n).low).toBeCloseTo(estimatePoisson(n).low, 9);
      expect(estimateWeightedPoisson(n, n).high).toBeCloseTo(estimatePoisson(n).high, 9);
    }
    // First-born with Down syndrome by age of the mother (Fleiss 1981, Statistical Methods for Rates and Proportions, p. 249, from memory):
    // adjusted rate 92.3 per 100 000; the interval by scipy's chi-square quantiles.
    const births = [230061, 329449, 114920, 39487, 14208, 3052];
    const cases = [107, 141, 60, 40, 39, 25];
    const standard = [319933, 931318, 786511, 488235, 237863, 61313];
    const total = standard.reduce((s, v) => s + v, 0);
    const weights = births.map((b, i) => standard[i] / total / b);
    const sum = weights.reduce((s, w, i) => s + w * cases[i], 0);
    const interval = estimateWeightedPoisson(sum, weights.reduce((s, w, i) => s + w * w * cases[i], 0), Math.max(...weights));
    expect(sum * 1e5).toBeCloseTo(92.3, 1);
    expect(interval.low).toBeCloseTo(0.0008044174985, 10);
    expect(interval.high).toBeCloseTo(0.0010576334575, 10);
  });
});

describe('over-dispersion', () => {
  // Insects on sprayed plots, spray A: Beall (1942) Biometrika 32, 243-262, as in R's data set InsectSprays. Values by numpy.
  const INSECTS = [10, 7, 20, 14, 14, 12, 10, 23, 17, 20, 14, 13];

  it('is variance over mean for equal cells', () => {
    const { dispersion, dof } = estimateDispersion([INSECTS.map((count) => ({ count, exposure: 1 }))]);
    expect(dispersion).toBeCloseTo(1.536050156739812, 10);
    expect(dof).toBe(11);
    const interval = estimateQuasiPoisson(174, dispersion, dof);
    expect(interval.low / 12).toBeCloseTo(11.79117293, 6);
    expect(interval.high / 12).toBeCloseTo(17.83113531, 6);
  });

  it('takes exposure into account and gives each stratum its rate', () => {
    const steady = [1, 2, 3].map((exposure) => ({ count: 10 * exposure, exposure }));
    expect(estimateDispersion([steady]).dispersion).toBeCloseTo(0, 12);
    const other = steady.map((c) => ({ ...c, count: 7 * c.count }));
    expect(estimateDispersion([steady, other])).toEqual({ dispersion: 0, dof: 4 });
    expect(estimateDispersion([[...steady, ...other]]).dispersion).toBeGreaterThan(10);
    expect(estimateDispersion([[{ count: 3, exposure: 1 }]]).dispersion).toBeNaN();
  });

  it('below 1 does not narrow the interval', () => {
    expect(estimateQuasiPoisson(100, 0.2, 30)).toEqual(estimateQuasiPoisson(100, 1, 30));
    expect(estimateQuasiPoisson(0, 1, 30).low).toBeNaN();
  });
});
