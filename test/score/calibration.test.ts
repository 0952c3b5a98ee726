import { describe, expect, it } from 'vitest';
import { binOfProbability, brierScore, decomposeBrier, expectedCalibrationError, reliabilityBins } from '../../src/score/calibration.js';
import type { Forecast } from '../../src/score/calibration.js';
import { RandomWords } from '../../src/score/random.js';
import { areaUnderRiskCoverage, chooseByLabels, chooseByProbability, riskCoverageCurve } from '../../src/score/risk-coverage.js';
import { expectedIfCalibrated } from '../../src/score/score-calibration.js';

/** 30 forecasts: probability, how many, how many came true. */
const TABLE: [number, number, number][] = [[0.1, 5, 1], [0.3, 10, 3], [0.5, 8, 4], [0.8, 5, 4], [1, 2, 2]];
const forecasts: Forecast[] = TABLE.flatMap(([probability, n, events]) => Array.from({ length: n }, (_, i) => ({ probability, correct: i < events })));

describe('Brier score', () => {
  // Murphy (1973) decomposition of the table above in exact fractions.
  it('decomposes exactly', () => {
    const d = decomposeBrier(forecasts);
    expect(d.brier).toBeCloseTo(23 / 120, 12);
    expect(d.reliability).toBeCloseTo(1 / 600, 12);
    expect(d.resolution).toBeCloseTo(53 / 900, 12);
    expect(d.uncertainty).toBeCloseTo(56 / 225, 12);
    expect(Math.abs(d.withinBins)).toBeLessThan(1e-12);
    expect(d.skill).toBeCloseTo(0.22991, 5);
    expect(brierScore(forecasts)).toBe(d.brier);
  });

  it('keeps the identity with bins', () => {
    const d = decomposeBrier(forecasts, 2);
    expect(d.reliability - d.resolution + d.uncertainty + d.withinBins).toBeCloseTo(d.brier, 14);
    expect(Math.abs(d.withinBins)).toBeGreaterThan(1e-3);
  });
});

describe('expected calibration error', () => {
  it('of the same table is 1/60', () => {
    expect(expectedCalibrationError(forecasts, 10)).toBeCloseTo(1 / 60, 12);
    expect(expectedCalibrationError(forecasts)).toBeCloseTo(1 / 60, 12);
  });

  it('puts a probability on a limit into the bin below', () => {
    expect([0, 0.1, 0.10001, 0.3, 0.7, 1].map((p) => binOfProbability(p, 10))).toEqual([0, 0, 1, 2, 6, 9]);
    const bins = reliabilityBins(forecasts, 10);
    expect(bins.map((b) => b.count)).toEqual([5, 0, 10, 0, 8, 0, 0, 5, 0, 2]);
    expect(bins[2]).toMatchObject({ lowProbability: 0.2, correct: 3, observedShare: 0.3 });
    expect(bins[2].meanProbability).toBeCloseTo(0.3, 12);
  });

  it.each([1, 10, 15])('has %i bins of equal width that cover all probabilities without a gap', (count) => {
    const bins = reliabilityBins(forecasts, count);
    expect(bins.map((b) => b.lowProbability)).toEqual(Array.from({ length: count }, (_, k) => k / count));
    expect(bins.map((b) => b.highProbability)).toEqual([...bins.slice(1).map((b) => b.lowProbability), 1]);
    for (const { probability } of forecasts) {
      const { lowProbability, highProbability } = bins[binOfProbability(probability, count)];
      expect(probability).toBeGreaterThan(lowProbability);
      expect(probability).toBeLessThanOrEqual(highProbability);
    }
  });

  it('of calibrated probabilities lies where chance puts it, and far out for overstated ones', () => {
    const random = new RandomWords(8);
    const make = (truth: (p: number) => number): Forecast[] => Array.from({ length: 3000 }, () => {
      const probability = random.nextUnit();
      return { probability, correct: random.nextUnit() < truth(probability) };
    });
    const good = make((p) => p);
    const byChance = expectedIfCalibrated(good.map((f) => f.probability));
    expect(expectedCalibrationError(good)).toBeLessThan(2 * byChance.p95);
    expect(byChance.median).toBeGreaterThan(0.005);
    expect(byChance.median).toBeLessThan(byChance.p95);
    // Stated p, true p squared: the mean of p - p^2 is 1/6, within four standard errors (an outcome spreads by at most .5).
    expect(Math.abs(expectedCalibrationError(make((p) => p * p)) - 1 / 6)).toBeLessThan(4 * 0.5 / Math.sqrt(3000));
  });

  it('is not defined for no forecast', () => {
    expect(expectedCalibrationError([])).toBeNaN();
    expect(brierScore([])).toBeNaN();
  });
});

describe('risk and coverage', () => {
  const curve = riskCoverageCurve([
    { probability: 0.9, correct: true }, { probability: 0.5, correct: false }, { probability: 0.9, correct: true },
    { probability: 0.7, correct: false }, { probability: 0.6, correct: true },
  ]);

  it('follows the definition', () => {
    expect(curve.map((p) => [p.threshold, p.kept, p.correct])).toEqual([[0.9, 2, 2], [0.7, 3, 2], [0.6, 4, 3], [0.5, 5, 3]]);
    expect(areaUnderRiskCoverage(curve)).toBeCloseTo(0.2 * (1 / 3) + 0.2 * (1 / 4) + 0.2 * (2 / 5), 12);
  });

  it('finds the threshold that keeps most', () => {
    expect(chooseByLabels(curve, 0.99)).toMatchObject({ threshold: 0.9, keptShare: 0.4, kept: 2 });
    expect(chooseByLabels(curve, 0.75)).toMatchObject({ threshold: 0.6, keptShare: 0.8 });
    expect(chooseByLabels(curve, 0.1)).toMatchObject({ threshold: 0.5, keptShare: 1 });
    const none = chooseByLabels(riskCoverageCurve([{ probability: 0.9, correct: false }]), 0.5);
    expect(none).toMatchObject({ threshold: null, keptShare: 0, kept: 0 });
    expect(none.precision.value).toBeNull();
  });

  it('works without labels from the probabilities alone', () => {
    expect(chooseByProbability([0.5, 1, 0.9, 0.8], 0.9)).toEqual({ asked: 0.9, threshold: 0.8, keptShare: 0.75, kept: 3, expectedPrecision: expect.closeTo(0.9, 12) });
    expect(chooseByProbability([0.5], 0.9).threshold).toBeNull();
    expect(chooseByProbability([], 0.9)).toMatchObject({ kept: 0, keptShare: 0 });
  });
});
