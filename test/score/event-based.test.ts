import { describe, expect, it } from 'vitest';
import { measureEventBased } from '../../src/score/event-based.js';
import { measureFleissKappa, measureKappa, scoreAgreement } from '../../src/score/agreement.js';
import type { TimedCall } from '../../src/score/types.js';
import { makeRandomTables, shuffle } from './random-tables.js';

const call = (onsetSec: number, offsetSec: number, bird: string): TimedCall => ({ bird, onsetSec, offsetSec });

describe('event-based F1 and error rate', () => {
  // Worked by hand after the definitions of Mesaros, Heittola & Virtanen (2016) Applied Sciences 6(6), 162.
  const labels = [call(1, 1.3, 'A'), call(2, 2.5, 'B'), call(4, 4.2, 'A'), call(6, 7, 'C'), call(8, 8.4, 'B'), call(9, 9.1, 'A')];
  const calls = [call(1.05, 1.32, 'A'), call(2.1, 2.95, 'B'), call(4.25, 4.45, 'A'), call(6.1, 6.6, 'C'), call(8, 8.4, 'A'), call(11, 11.2, 'B')];

  it('with onset and offset', () => {
    const result = measureEventBased(calls, labels);
    expect(result).toMatchObject({ truePositives: 2, falsePositives: 4, falseNegatives: 4, substitutions: 1, deletions: 3, insertions: 3 });
    for (const value of [result.precision, result.recall, result.f1]) expect(value).toBeCloseTo(1 / 3, 12);
    expect(result.errorRate).toBeCloseTo(7 / 6, 12);
  });

  it('with onsets only', () => {
    const result = measureEventBased(calls, labels, { onsetOnly: true });
    expect(result.truePositives).toBe(3);
    expect(result.f1).toBeCloseTo(0.5, 12);
    expect(result.errorRate).toBeCloseTo(5 / 6, 12);
  });

  it('matches as many as possible where greedy pairs block each other', () => {
    const result = measureEventBased([call(1.1, 2, 'A'), call(1.3, 2, 'A')], [call(1, 2, 'A'), call(1.25, 2, 'A')]);
    // The first report fits both labels, the second only the later one.
    expect(result.truePositives).toBe(2);
  });

  it('does not depend on the order of the rows', () => {
    const tables = makeRandomTables(2, 200, 20);
    expect(measureEventBased(shuffle(tables.calls, 1), shuffle(tables.labels, 2))).toEqual(measureEventBased(tables.calls, tables.labels));
  });
});

describe('kappa', () => {
  // Textbook examples of Cohen's kappa; the interval of the first is that of R's psych package.
  it.each([
    [[[20, 5], [10, 15]], 0.4], [[[45, 15], [25, 15]], 3 / 23], [[[25, 35], [5, 35]], 7 / 27],
  ])('of %j', (counts, expected) => {
    expect(measureKappa(counts).kappa).toBeCloseTo(expected, 12);
  });

  it('has the published parts and interval', () => {
    const { observed, chance, low, high } = measureKappa([[20, 5], [10, 15]]);
    expect([observed, chance]).toEqual([expect.closeTo(0.7, 12), expect.closeTo(0.5, 12)]);
    expect(Math.abs(low - 0.151)).toBeLessThan(5e-4);
    expect(Math.abs(high - 0.649)).toBeLessThan(5e-4);
  });

  it('of many raters', () => {
    // The common example of Fleiss' kappa with ten items and fourteen raters.
    const counts = [
      [0, 0, 0, 0, 14], [0, 2, 6, 4, 2], [0, 0, 3, 5, 6], [0, 3, 9, 2, 0], [2, 2, 8, 1, 1], [7, 7, 0, 0, 0], [3, 2, 6, 3, 0], [2, 5, 3, 2, 2],
      [6, 5, 2, 1, 0], [0, 2, 2, 3, 7],
    ];
    expect(measureFleissKappa(counts)).toBeCloseTo(0.209931, 6);
  });
});

describe('scoreAgreement', () => {
  it('compares two annotators', () => {
    const first = [call(1, 1.1, 'A'), call(2, 2.1, 'B'), call(3, 3.1, 'A'), call(4, 4.1, 'B')];
    const second = [call(1.01, 1.1, 'A'), call(2, 2.1, 'A'), call(4, 4.1, 'B'), call(5, 5.1, 'A'), call(6, 6.1, 'A')];
    const agreement = scoreAgreement(first, second);
    expect(agreement).toMatchObject({ both: 3, onlyFirst: 1, onlySecond: 2, birds: ['A', 'B'], counts: [[1, 0], [1, 1]] });
    expect(agreement.f1).toBeCloseTo(6 / 9, 12);
    expect(agreement.sameBird.value).toBeCloseTo(2 / 3, 12);
    // Observed 2/3; chance (1/3)(2/3) + (2/3)(1/3) = 4/9.
    expect(agreement.kappa.kappa).toBeCloseTo((2 / 3 - 4 / 9) / (5 / 9), 12);
    const turned = scoreAgreement(second, first);
    expect([turned.f1, turned.both, turned.kappa.kappa]).toEqual([agreement.f1, 3, expect.closeTo(agreement.kappa.kappa, 12)]);
  });
});
