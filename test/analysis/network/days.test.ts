import { describe, expect, it } from 'vitest';
import { buildNetwork } from '../../../src/analysis/network/index.js';
import { measureRates } from '../../../src/analysis/rates/measure-rates.js';
import { formatUtc } from '../../../src/table/utc-time.js';
import { fullTracks, simulateCalls, toCallRows } from './simulate-calls.js';

const birds = ['ash', 'birch'];
const HOUR = 3600;

describe('days of the network', () => {
  const startUtc = '2031-05-01T22:30:00Z';
  const calls = toCallRows(simulateCalls({ birds, durationSec: 3 * HOUR, rate: () => 0.05, mostRate: 0.05, rules: [], seed: 5 }));
  const tracks = fullTracks(birds, 3 * HOUR);
  const timed = calls.map((c) => ({ ...c, onsetUtc: formatUtc(startUtc, c.onsetSec) }));
  const settings = { surrogates: 19, draws: 20 };
  const listDays = (rows: typeof calls, utcOffsetMin = 0): number[] => [...new Set(buildNetwork({ calls: rows, tracks }, { ...settings, utcOffsetMin }).days.map((d) => d.day))];
  const listRateDays = (start: string | undefined, utcOffsetMin = 0): number[] =>
    [...new Set(measureRates({ calls, sounds: [], hours: tracks }, { ...(start === undefined ? {} : { startUtc: start }), utcOffsetMin }).byDay.map((d) => d.day))];

  it('are those of the rates: 1 is the first, up to midnight where the time is known', () => {
    expect(listDays(timed)).toEqual([1, 2]);
    expect(listRateDays(startUtc)).toEqual([1, 2]);
    // At half past midnight by the clock on the wall all three hours are of one day.
    expect(listDays(timed, 120)).toEqual([1]);
    expect(listRateDays(startUtc, 120)).toEqual([1]);
    expect(listDays(calls)).toEqual([1]);
    expect(listRateDays(undefined)).toEqual([1]);
  });
});
