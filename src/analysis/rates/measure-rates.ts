import { estimateDispersion, estimatePoisson, estimateQuasiPoisson, estimateWeightedPoisson } from '../../numeric/poisson-interval.js';
import type { Cell } from '../../numeric/poisson-interval.js';
import { RATE_KINDS } from '../../schema/analysis-rows.js';
import type { BoutRow, DayRateRow, ExclusionRow, HourRateRow, RateKind, RateRow } from '../../schema/analysis-rows.js';
import { VolaryError } from '../../schema/errors.js';
import type { CallRow, SoundRow, TrackHourRow } from '../../schema/rows.js';
import { UsableTime } from '../exclusions/usable-time.js';
import { DayClock } from './day-clock.js';
import { DEFAULT_BOUT, findBouts } from './find-bouts.js';
import type { BoutSettings } from './find-bouts.js';

export interface RateSettings {
  /** Rows of less probability are left out. */
  threshold: number;
  /** Sums of probabilities instead of numbers of rows. */
  weighted: boolean;
  bout: BoutSettings;
  startUtc?: string;
  utcOffsetMin: number;
}

export const DEFAULT_RATES: RateSettings = { threshold: 0.5, weighted: false, bout: DEFAULT_BOUT, utcOffsetMin: 0 };

/** What the analyses of a result folder take. */
export interface ResultTables {
  calls: readonly CallRow[];
  sounds: readonly SoundRow[];
  hours: readonly TrackHourRow[];
  exclusions?: readonly ExclusionRow[];
  durationSec?: number;
}

export interface Effort {
  bird: string;
  recordedSec: number;
  excludedSec: number;
  usableSec: number;
}

export interface Rates {
  settings: RateSettings;
  effort: Effort[];
  /** Rows of calls.csv that are not counted, by reason. */
  leftOut: { untagged: number; unlikely: number; excluded: number; linkDown: number };
  rates: RateRow[];
  byHour: HourRateRow[];
  byDay: DayRateRow[];
  bouts: BoutRow[];
}

/** Shorter pieces of an hour say nothing about the scatter of hours. */
const LEAST_CELL_SEC = 300;

interface HourCell { day: number; hour: number; usableSec: number; sum: Record<RateKind, number>; squares: Record<RateKind, number> }

/**
 * Calls per usable hour of every tagged bird, by hour of day and by day, with exact Poisson and quasi-Poisson intervals.
 * @throws VolaryError 'no-data' where no track has usable time.
 * @example measureRates({ calls, sounds, hours }).rates
 */
export function measureRates(tables: ResultTables, options: Partial<RateSettings> = {}): Rates {
  const settings = { ...DEFAULT_RATES, ...options };
  const clock = new DayClock(settings.startUtc, settings.utcOffsetMin);
  const birds = listBirds(tables.hours);
  const times = birds.map((bird) => new UsableTime(bird, tables));
  const effort = times.map((t) => ({ bird: t.bird, recordedSec: t.recordedSec, excludedSec: t.excludedSec, usableSec: t.recordedSec - t.excludedSec }));
  if (!effort.some((e) => e.usableSec > 0)) {
    throw new VolaryError('no-data', { where: 'tracks', what: 'no usable time', got: effort.some((e) => e.excludedSec > 0) ? 'all of it is excluded' : `${birds.length} tracks`, expected: 'some time in which a link was up and nothing excluded' });
  }
  const leftOut = { untagged: 0, unlikely: 0, excluded: 0, linkDown: 0 };
  const known = new Set(birds);
  for (const call of tables.calls) {
    if (!known.has(call.bird)) leftOut.untagged++;
    else if (call.probability < settings.threshold) leftOut.unlikely++;
  }
  const bouts: BoutRow[] = [];
  const strata = times.map((time) => fillCells(time, selectCalls(tables.calls, time, settings.threshold, leftOut), settings, clock, bouts));
  bouts.sort((a, b) => a.onsetSec - b.onsetSec || (a.bird < b.bird ? -1 : 1));
  return { settings, effort, leftOut, bouts, ...tabulate(birds, strata, settings, clock) };
}

/** Birds that wear a tag: those that have a track. */
export function listBirds(hours: readonly TrackHourRow[]): string[] {
  return [...new Set(hours.map((h) => h.track))];
}

/** Calls of a bird that fall into its usable time, in order of onset. */
export function selectCalls(calls: readonly CallRow[], time: UsableTime, threshold: number, leftOut = { excluded: 0, linkDown: 0 }): CallRow[] {
  const own = calls.filter((c) => c.bird === time.bird && c.probability >= threshold).sort((a, b) => a.onsetSec - b.onsetSec);
  return own.filter((c) => {
    if (time.isExcluded(c.onsetSec)) leftOut.excluded++;
    else if (time.isLost(c.onsetSec)) leftOut.linkDown++;
    else return true;
    return false;
  });
}

function fillCells(time: UsableTime, calls: readonly CallRow[], settings: RateSettings, clock: DayClock, bouts: BoutRow[]): HourCell[] {
  const zero = (): Record<RateKind, number> => ({ calls: 0, bouts: 0, syllables: 0, all: 0 });
  const hours = clock.listHours(time.startSec, time.endSec);
  const cells = hours.map((h): HourCell => ({ day: h.day, hour: h.hour, usableSec: time.measureSec(h.startSec, h.endSec), sum: zero(), squares: zero() }));
  const events = findBouts(calls, settings.bout);
  bouts.push(...events.bouts);
  const add = (what: RateKind, list: readonly CallRow[]): void => {
    for (const call of list) {
      const cell = cells[Math.floor((call.onsetSec - hours[0].startSec) / 3600)];
      const weight = settings.weighted ? call.probability : 1;
      cell.sum[what] += weight;
      cell.squares[what] += weight * weight;
    }
  };
  add('calls', events.calls);
  add('bouts', events.openings);
  add('syllables', events.syllables);
  add('all', calls);
  return cells;
}

function tabulate(birds: readonly string[], strata: readonly HourCell[][], settings: RateSettings, clock: DayClock): Pick<Rates, 'rates' | 'byHour' | 'byDay'> {
  const rates: RateRow[] = [];
  const byHour: HourRateRow[] = [];
  const byDay: DayRateRow[] = [];
  const groups: [string, readonly HourCell[][]][] = [...birds.map((bird, n): [string, HourCell[][]] => [bird, [strata[n]]]), ['', strata]];
  for (const [bird, own] of groups) {
    const days = [...new Set(own.flat().map((c) => c.day))].sort((a, b) => a - b);
    for (const what of RATE_KINDS) {
      const within = measureScatter(own.flatMap(splitByHour), what);
      const estimate = (cells: readonly HourCell[][], scatter: Scatter): RateRow => estimateRow(bird, what, cells, settings.weighted, scatter);
      rates.push(estimate(own, within));
      for (let hour = 0; hour < 24; hour++) {
        const cells = own.map((s) => s.filter((c) => c.hour === hour));
        byHour.push({ ...estimate(cells, measureScatter(cells, what)), hour });
      }
      // A day alone cannot tell scatter from rhythm: it takes that of all days.
      for (const day of days) byDay.push({ ...estimate(own.map((s) => s.filter((c) => c.day === day)), within), day, date: clock.formatDate(day) });
    }
  }
  const hasTime = (r: RateRow): boolean => r.usableSec > 0;
  return { rates, byHour: byHour.filter(hasTime), byDay: byDay.filter(hasTime) };
}

interface Scatter { dispersion: number; dof: number }

function splitByHour(cells: readonly HourCell[]): HourCell[][] {
  return Array.from({ length: 24 }, (_, hour) => cells.filter((c) => c.hour === hour));
}

function measureScatter(strata: readonly HourCell[][], what: RateKind): Scatter {
  return estimateDispersion(strata.map((cells) => cells.filter((c) => c.usableSec >= LEAST_CELL_SEC).map((c): Cell => ({ count: c.sum[what], exposure: c.usableSec }))));
}

/** One rate with its intervals; each stratum (bird) keeps a rate of its own when scatter is measured. */
function estimateRow(bird: string, what: RateKind, strata: readonly HourCell[][], weighted: boolean, within: Scatter): RateRow {
  const all = strata.flat().filter((c) => c.usableSec > 0);
  const usableSec = all.reduce((s, c) => s + c.usableSec, 0);
  const count = all.reduce((s, c) => s + c.sum[what], 0);
  const squares = all.reduce((s, c) => s + c.squares[what], 0);
  const exact = weighted ? estimateWeightedPoisson(count, squares) : estimatePoisson(count);
  const raw = measureScatter(strata, what);
  const { dispersion, dof } = within.dof > 0 ? within : raw;
  const quasi = estimateQuasiPoisson(count, dispersion, dof);
  const hours = usableSec / 3600;
  return {
    bird, what, usableSec, count, perHour: count / hours, low: exact.low / hours, high: exact.high / hours, hours: all.filter((c) => c.usableSec >= LEAST_CELL_SEC).length,
    dispersion: raw.dispersion, dispersionWithin: within.dispersion, quasiLow: quasi.low / hours, quasiHigh: quasi.high / hours,
  };
}
