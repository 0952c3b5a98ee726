import { describe, expect, it } from 'vitest';
import { niceMarks, timeMarks, trim } from '../../src/review/page/charts.js';

describe('marks of an axis', () => {
  it('of days are whole, also where two days fill the axis', () => {
    expect(niceMarks(0.98, 2.02, 6, 1).map(trim)).toEqual(['1', '2']);
    expect(niceMarks(3.7, 16.2, 6, 1)).toEqual([5, 10, 15]);
    expect(niceMarks(5.8, 16.2, 6, 1)).toEqual([6, 8, 10, 12, 14, 16]);
  });

  it('of values are round', () => {
    expect(niceMarks(-55, 8, 4)).toEqual([-40, -20, 0]);
    expect(niceMarks(0, 0.41, 4).map(trim)).toEqual(['0', '0.2', '0.4']);
  });

  it('of time are round times, ten at most, none before the start', () => {
    expect(timeMarks(-3, 95)).toEqual([0, 10, 20, 30, 40, 50, 60, 70, 80, 90]);
    expect(timeMarks(-20_000, 15 * 86400)).toEqual([0, 2, 4, 6, 8, 10, 12, 14].map((d) => d * 86400));
    expect(timeMarks(-100, 3600 * 5)).toEqual([0, 3600, 7200, 10800, 14400, 18000]);
  });
});
