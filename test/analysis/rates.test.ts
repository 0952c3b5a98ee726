import { describe, expect, it } from 'vitest';
import { DayClock } from '../../src/analysis/rates/day-clock.js';
import { findBouts } from '../../src/analysis/rates/find-bouts.js';
import { explainDispersion } from '../../src/analysis/rates/format-rates.js';
import { measureRates } from '../../src/analysis/rates/measure-rates.js';
import type { CallRow, SoundRow, TrackHourRow } from '../../src/schema/rows.js';
import { simulateDays } from '../../src/simulate/days/simulate-days.js';

const call = (bird: string, onsetSec: number, probability = 1): CallRow => ({
  callId: 0, bird, onsetSec, offsetSec: onsetSec + 0.1, onsetUtc: '', probability, track: bird, levelDb: -20, snrDb: 30, peakHz: 3000, overlaps: 0, runnerUp: '', runnerUpProbability: NaN,
});
const hour = (track: string, n: number, usableSec = 3600): TrackHourRow => ({ track, recorder: 'one', startSec: n * 3600, usableSec, noiseFloorDb: -80, gainDb: 0, lostShare: 1 - usableSec / 3600 });

describe('song bouts', () => {
  it('are runs with short gaps from offset to onset', () => {
    const calls = [0, 0.15, 0.3, 5, 5.15, 9, 9.34, 9.6].map((t) => call('red', t));
    const events = findBouts(calls, { gapSec: 0.25, syllables: 3 });
    expect(events.bouts).toEqual([{ bird: 'red', onsetSec: 0, offsetSec: 0.4, syllables: 3 }, { bird: 'red', onsetSec: 9, offsetSec: 9.7, syllables: 3 }]);
    expect(events.calls.map((c) => c.onsetSec)).toEqual([5, 5.15]);
    expect(findBouts(calls, { gapSec: 0.2, syllables: 2 }).bouts).toHaveLength(3);
    expect(findBouts(calls, { gapSec: 0, syllables: 2 }).bouts).toHaveLength(0);
    expect(findBouts([], { gapSec: 1, syllables: 2 }).calls).toEqual([]);
  });
});

describe('hours of the day', () => {
  it('follow the clock on the wall', () => {
    const clock = new DayClock('2031-05-01T22:30:00Z', 120);
    expect([0, 1800, 23.5 * 3600 - 1, 23.5 * 3600].map((t) => [clock.findDay(t), clock.findHour(t)])).toEqual([[1, 0], [1, 1], [1, 23], [2, 0]]);
    expect(clock.formatDate(1)).toBe('2031-05-02');
    expect(clock.listHours(0, 3600)).toEqual([{ startSec: -1800, endSec: 1800, day: 1, hour: 0 }, { startSec: 1800, endSec: 5400, day: 1, hour: 1 }]);
    expect(new DayClock(undefined).findHour(25 * 3600)).toBe(1);
  });
});

describe('rates', () => {
  it('has the interval of 37 calls in an hour and a half (Garwood 1936, by chi-square quantiles)', () => {
    const calls = Array.from({ length: 37 }, (_, n) => call('red', 10 + n * 100));
    const [row] = measureRates({ calls, sounds: [], hours: [hour('red', 0, 3600), hour('red', 1, 1800)], durationSec: 7200 }).rates;
    expect(row).toMatchObject({ bird: 'red', what: 'calls', count: 37, usableSec: 5400 });
    expect(row.perHour).toBeCloseTo(24.6667, 4);
    expect(row.low).toBeCloseTo(17.3676, 4);
    expect(row.high).toBeCloseTo(33.9998, 4);
  });

  it('counts what is usable and says what it leaves out', () => {
    const sounds: SoundRow[] = [{ kind: 'dropout', track: 'red', onsetSec: 100, offsetSec: 200, levelDb: NaN, source: '' }];
    const calls = [call('red', 50), call('red', 150), call('red', 300, 0.4), call('red', 4000), call('none', 60), call('blue', 70), call('blue', 150)];
    const rates = measureRates({ calls, sounds, hours: [hour('red', 0, 3500), hour('red', 1), hour('blue', 0)], exclusions: [{ bird: 'red', startSec: 3600, endSec: 7200, reason: '' }] });
    expect(rates.leftOut).toEqual({ untagged: 1, unlikely: 1, excluded: 1, linkDown: 1 });
    expect(rates.rates.filter((r) => r.what === 'all').map((r) => [r.bird, r.count])).toEqual([['red', 1], ['blue', 2], ['', 3]]);
    expect(rates.effort[0]).toEqual({ bird: 'red', recordedSec: 7100, excludedSec: 3600, usableSec: 3500 });
    const weighted = measureRates({ calls: [call('red', 1, 0.9), call('red', 9, 0.6)], sounds: [], hours: [hour('red', 0)] }, { weighted: true }).rates[0];
    expect(weighted.count).toBeCloseTo(1.5, 12);
    expect(() => measureRates({ calls, sounds, hours: [hour('red', 0, 0)] })).toThrow('no usable time');
  });

  it('tells scatter from the rhythm of the day', () => {
    // Ten calls in each even hour, none in odd ones: wild for the day, perfectly regular for the hour.
    const calls = Array.from({ length: 96 }, (_, n) => n).filter((n) => n % 2 === 0).flatMap((n) => Array.from({ length: 10 }, (_, k) => call('red', n * 3600 + 60 + k * 300)));
    const { rates, byHour, byDay } = measureRates({ calls, sounds: [], hours: Array.from({ length: 96 }, (_, n) => hour('red', n)) });
    expect(rates[0].dispersion).toBeCloseTo((25 * 96) / 95 / 5, 9);
    expect(rates[0].dispersionWithin).toBeCloseTo(0, 12);
    // Every day the same counts: less scatter than chance has.
    expect(explainDispersion(rates[0])).toContain('more evenly than by chance, and the exact interval is wider than it need be');
    expect(explainDispersion({ ...rates[0], dispersionWithin: 1 })).toContain('the exact interval holds');
    expect(explainDispersion({ ...rates[0], dispersionWithin: 4 })).toContain('about 2.0 times too narrow');
    expect(byHour.filter((r) => r.bird === 'red' && r.what === 'calls').map((r) => r.perHour)).toEqual(Array.from({ length: 24 }, (_, n) => (n % 2 ? 0 : 10)));
    expect(byDay.filter((r) => r.bird === 'red' && r.what === 'calls').map((r) => [r.day, r.count, r.date])).toEqual([1, 2, 3, 4].map((d) => [d, 120, '']));
  });

  it('finds the rates that a study was made with, links lost or not', () => {
    const study = simulateDays({
      days: 4, birds: [{ name: 'red', callsPerHour: 60, songsPerHour: 3 }, { name: 'blue', callsPerHour: 20, songsPerHour: 0 }], scatter: { hourly: 0.3, daily: 0, sharedHourly: 0 },
      attribution: { missed: 0, wrong: 0, ghosts: 0 }, links: { lostPerDay: 20, lostMeanSec: 1200 },
    }, 5);
    const found = measureRates({ calls: study.calls, sounds: study.sounds, hours: study.tracks, durationSec: study.durationSec }, { startUtc: study.study.start });
    const light = 14 / 24;
    for (const [bird, what, truth] of [['red', 'calls', 60 * light], ['blue', 'calls', 20 * light], ['red', 'bouts', 3 * light]] as const) {
      const row = found.rates.find((r) => r.bird === bird && r.what === what)!;
      // A wide quasi-Poisson interval, four standard errors instead of two: this must hold for any seed.
      expect(row.perHour * (row.quasiLow / row.perHour) ** 2).toBeLessThan(truth);
      expect(row.perHour * (row.quasiHigh / row.perHour) ** 2).toBeGreaterThan(truth);
      expect(row.usableSec).toBeLessThan(0.85 * study.durationSec);
    }
    expect(found.byHour.filter((r) => r.bird === 'red' && r.what === 'all' && (r.hour < 6 || r.hour >= 20)).every((r) => r.count === 0)).toBe(true);
    const truth = study.trueCalls.filter((c) => c.bird === 'red' && c.isSong).length;
    expect(found.bouts.reduce((s, b) => s + b.syllables, 0)).toBeLessThanOrEqual(truth + 10);
  });
});
