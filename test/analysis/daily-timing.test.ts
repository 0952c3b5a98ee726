import { describe, expect, it } from 'vitest';
import { compareTiming, findCentre, subtractHours } from '../../src/analysis/habituation/daily-timing.js';
import { measureHabituation } from '../../src/analysis/habituation/measure-habituation.js';
import type { Habituation } from '../../src/analysis/habituation/measure-habituation.js';
import type { CallRow } from '../../src/schema/rows.js';
import type { Days } from '../../src/simulate/days/days.js';
import { simulateDays } from '../../src/simulate/days/simulate-days.js';

const DAY = 86400;

describe('the centre of hours', () => {
  it('is the mean direction of Mardia and Jupp (2000, example 2.1, from memory): nine stops of a wheel, 51 degrees, length .711', () => {
    const degrees = [43, 45, 52, 61, 75, 88, 88, 279, 357];
    const { hour, length } = findCentre(degrees.map((d) => d / 15), degrees.map(() => 1));
    expect(Math.round(hour * 15)).toBe(51);
    expect(length).toBeCloseTo(0.711, 3);
  });

  it('does not jump at midnight, weighs hours, and is none where nothing is', () => {
    expect(findCentre([23, 1], [1, 1]).hour % 24).toBeCloseTo(0, 9);
    expect(findCentre([6, 8], [1, 3]).hour).toBeGreaterThan(7.4);
    expect(findCentre([6, 8], [0, 0]).length).toBeNaN();
    expect([subtractHours(1, 23), subtractHours(23, 1), subtractHours(9, 7)]).toEqual([2, -2, 2]);
  });
});

describe('the shift of a profile', () => {
  const shift = (value: number[], baseline: number[], first = 0): number => {
    const parts = compareTiming(value.map((v, n) => ({ hour: (first + n + 0.5) % 24, value: v, baseline: baseline[n] })))!;
    return parts.reduce((s, p) => s + p.shiftHours, 0) / parts.length;
  };

  it('is the difference of the mean hours, however many calls there are and wherever the day is cut', () => {
    const baseline = [0, 1, 2, 1, 0], later = [0, 0, 1, 2, 1];
    expect(shift(later, baseline, 7)).toBeCloseTo(1, 12);
    expect(shift(later.map((v) => v / 5), baseline, 7)).toBeCloseTo(1, 12);
    expect(shift(later, baseline, 22)).toBeCloseTo(1, 12);
    expect(shift(baseline.map((v) => v * 0.4), baseline, 7)).toBeCloseTo(0, 12);
    // Spans 1, 2 and 3: means (2 + 2 + 3) / 4 and (1 + 2 + 6) / 4.
    expect(shift([0, 2, 1, 1, 0], [0, 1, 1, 2, 0], 7)).toBeCloseTo(1.75 - 2.25, 12);
  });

  it('is not told without calls or where calling has no centre', () => {
    const slots = (value: number, baseline: number): Parameters<typeof compareTiming>[0] => Array.from({ length: 24 }, (_, h) => ({ hour: h + 0.5, value, baseline }));
    expect(compareTiming(slots(1, 1))).toBeNull();
    expect(compareTiming([{ hour: 7, value: 0, baseline: 1 }, { hour: 8, value: 0, baseline: 2 }])).toBeNull();
    expect(compareTiming([])).toBeNull();
  });
});

describe('call timing after handling', () => {
  const study: Days = {
    start: '2031-05-01T05:00:00Z', days: 14, lightHours: [6, 20], birds: ['red', 'blue', 'grey', 'pink', 'lime', 'gold', 'jade'].map((name) => ({ name, callsPerHour: 30, songsPerHour: 0 })), untaggedPerHour: 0,
    handling: [{ day: 0, what: 'fitted' }, { day: 8, what: 'battery' }], scatter: { hourly: 0.2, daily: 0.05, sharedHourly: 0.1 },
    effects: { fitted: { calls: 1, body: 1, days: 1, shape: 'step' }, battery: { calls: 0.4, body: 1, days: 1, shape: 'step' } },
  };
  /** Calls of the first day compressed towards the evening: a start delayed by three hours and no fewer calls. */
  const delay = (c: CallRow): CallRow => {
    const hour = 5 + c.onsetSec / 3600;
    return c.onsetSec < DAY && hour >= 6 && hour < 20 ? { ...c, onsetSec: (9 + ((hour - 6) * 11) / 14 - 5) * 3600 } : c;
  };
  const analyse = (seed: number, change: (c: CallRow) => CallRow): Habituation => {
    const s = simulateDays(study, seed);
    return measureHabituation({ calls: s.calls.map(change).sort((a, b) => a.onsetSec - b.onsetSec), sounds: s.sounds, hours: s.tracks, handling: s.handling, durationSec: s.durationSec }, { margin: 0.25, measures: ['calls', 'timing'], startUtc: study.start });
  };
  const group = (h: Habituation, after: string, day: number, measure = 'timing'): Habituation['rows'][number] => h.rows.find((r) => r.bird === '' && r.after === after && r.day === day && r.measure === measure)!;

  it.each([1, 2, 3])('sees a late start that the number of calls does not show (seed %i)', (seed) => {
    const h = analyse(seed, delay);
    const first = group(h, 'fitted', 1);
    expect(group(h, 'fitted', 1, 'calls').verdict).toBe('equivalent');
    // Even calling from 6 to 20 has its centre at 13 and a standard deviation of 14 / sqrt 12 = 4.04 h; from 9 to 20 the centre is 14.5, a shift of
    // .37. Scatter of the group's day: .2 / sqrt(7 * 14) hourly and .1 / sqrt 14 shared, .035 with the error of the baseline; four of these.
    expect(Math.abs(first.change - 1.5 / 4.04)).toBeLessThan(4 * 0.035);
    expect(first.value - first.baseline).toBeCloseTo(first.change * 4.04, 0);
    expect(first.baseline).toBeGreaterThan(12);
    expect(first.baseline).toBeLessThan(14);
    // Seven birds that all go one way: 2 / 2^7, the least that sign flips can give.
    expect(first.pFlip).toBeCloseTo(2 / 128, 12);
    expect(first.verdict).not.toBe('equivalent');
    expect(h.decisions.find((d) => d.bird === '' && d.after === 'fitted')!.firstUsableDay).toBe(2);
  });

  it('takes fewer calls for no shift', () => {
    const rows = [4, 5, 6].map((seed) => analyse(seed, (c) => c)).map((h) => [group(h, 'battery', 1, 'calls').verdict === 'equivalent', group(h, 'battery', 1).verdict]);
    expect(rows).toEqual([4, 5, 6].map(() => [false, 'equivalent']));
  });
});
