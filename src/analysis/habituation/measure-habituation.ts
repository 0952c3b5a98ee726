import { HABIT_MEASURES } from '../../schema/analysis-rows.js';
import type { ExclusionRow, HabituationRow, HandlingRow, MovementRow } from '../../schema/analysis-rows.js';
import { VolaryError } from '../../schema/errors.js';
import { DAY_SEC, DEFAULT_DAYS_AFTER, deriveExclusions } from '../exclusions/derive-exclusions.js';
import type { DaysAfter } from '../exclusions/derive-exclusions.js';
import { UsableTime } from '../exclusions/usable-time.js';
import { DayClock } from '../rates/day-clock.js';
import { DEFAULT_BOUT, findBouts } from '../rates/find-bouts.js';
import type { BoutSettings } from '../rates/find-bouts.js';
import { listBirds, selectCalls } from '../rates/measure-rates.js';
import type { ResultTables } from '../rates/measure-rates.js';
import { listBaseline, listEvents } from './baseline.js';
import { averageHours, collectBaseline, compareBaselineDays, compareDay, summarise } from './compare-day.js';
import type { DayComparison } from './compare-day.js';
import { decideUsable, excludeByDecision } from './decide-usable.js';
import type { UsableDecision } from './decide-usable.js';
import { judgeRows } from './judge.js';
import type { Evidence } from './judge.js';
import { createBodySeries, createIntervalSeries, createMovementSeries, createRateSeries, createTimingSeries } from './series.js';
import type { Series } from './series.js';
import { DEFAULT_TEST_DAYS } from './settings.js';
import type { HabituationSettings } from './settings.js';

export interface HabituationInput extends ResultTables {
  handling: readonly HandlingRow[];
  /** Values of a movement sensor, in place of the body noise of the tags. */
  movement?: readonly MovementRow[];
}

export interface HabituationOptions extends Partial<HabituationSettings> {
  threshold?: number;
  bout?: BoutSettings;
  /** The study's start, for hours of the day; they count from it where it is not known. */
  startUtc?: string;
  utcOffsetMin?: number;
}

export interface Habituation {
  settings: HabituationSettings & Pick<HabituationOptions, 'startUtc' | 'utcOffsetMin'> & { threshold: number; bout: BoutSettings; movement: 'sensor' | 'body noise' };
  rows: HabituationRow[];
  decisions: UsableDecision[];
  excluded: ExclusionRow[];
  /** Baseline hours of each bird. */
  baselineHours: { bird: string; hours: number }[];
}

/**
 * Compares the days after every handling with later days at the same hours of the day, for every bird and for the group, and says from
 * which day on data may be used.
 * @throws VolaryError 'no-data' without handling or baseline.
 * @example measureHabituation({ calls, sounds, hours, handling }, { margin: 0.2 }).decisions
 */
export function measureHabituation(input: HabituationInput, options: HabituationOptions = {}): Habituation {
  const settings = {
    alpha: 0.05, testDays: DEFAULT_TEST_DAYS, slotHours: 1, daysAfter: DEFAULT_DAYS_AFTER, threshold: 0.5, bout: DEFAULT_BOUT, ...options,
    movement: input.movement ? 'sensor' as const : 'body noise' as const,
  };
  const birds = listBirds(input.hours);
  const endSec = input.durationSec ?? input.hours.reduce((end, h) => Math.max(end, h.startSec + 3600), 0);
  const perBird = birds.map((bird) => compareBird(bird, input, settings, endSec));
  const baselineHours = birds.map((bird, n) => ({ bird, hours: perBird[n].baselineHours }));
  requireData(perBird, baselineHours);
  const evidence = perBird.map((b) => b.evidence);
  const rows = [...judgeRows(pool(evidence), settings.margin, settings.alpha), ...evidence.flatMap((e) => judgeRows(e, settings.margin, settings.alpha))];
  const decisions = ['', ...birds].flatMap((bird) => decideUsable(rows.filter((r) => r.bird === bird), bird, settings.margin));
  return { settings, rows, decisions, excluded: excludeByDecision(input.handling, birds, endSec, decisions, rows, settings), baselineHours };
}

interface BirdComparison { evidence: Evidence[]; baselineHours: number; eventCount: number }

function compareBird(bird: string, input: HabituationInput, settings: Habituation['settings'], endSec: number): BirdComparison {
  // Without its tag a bird is no baseline; the days after handling are what is asked about and stay in.
  const bare = deriveExclusions(input.handling, [bird], endSec, { fitted: 0, battery: 0, other: 0 });
  const time = new UsableTime(bird, { ...input, exclusions: bare });
  const events = listEvents(input.handling, bird, endSec);
  const spans = listBaseline(input.handling, bird, endSec, settings.testDays, settings.baseline);
  const evidence: Evidence[] = [];
  if (spans.length) {
    for (const series of createSeries(time, input, settings)) for (const what of ['fitted', 'battery', 'other'] as const) {
      evidence.push(...compareEvents(series, events.filter((e) => e.what === what), what, spans, settings));
    }
  }
  return { evidence, baselineHours: spans.reduce((s, b) => s + time.measureSec(b.startSec, b.endSec), 0) / 3600, eventCount: events.length };
}

function createSeries(time: UsableTime, input: HabituationInput, settings: Habituation['settings']): Series[] {
  const calls = findBouts(selectCalls(input.calls, time, settings.threshold), settings.bout).calls;
  const moves = input.movement ? createMovementSeries(time.bird, input.movement) : createBodySeries(time, input.sounds);
  const hasMoves = input.movement ? input.movement.some((m) => m.bird === time.bird) : input.sounds.some((s) => s.kind === 'body');
  const onsets = calls.map((c) => c.onsetSec);
  const all = [createRateSeries('calls', time, onsets), createIntervalSeries(time, calls), createTimingSeries(time, onsets), ...(hasMoves ? [moves] : [])];
  return all.filter((series) => settings.measures?.includes(series.measure) ?? true);
}

/** Days after one kind of handling of one bird; pairs of several such handlings stand together. */
function compareEvents(series: Series, events: ReturnType<typeof listEvents>, after: keyof DaysAfter, spans: ReturnType<typeof listBaseline>, settings: Habituation['settings']): Evidence[] {
  const { shiftSec } = new DayClock(settings.startUtc, settings.utcOffsetMin);
  const prepared = events.map((event) => ({ event, baseline: collectBaseline(series, event, spans, settings.slotHours * 3600, shiftSec) }));
  const out: Evidence[] = [];
  for (let day = 1; day <= settings.testDays[after]; day++) {
    const days = prepared.map(({ event, baseline }) => compareDay(series, event, day, baseline)).filter((d): d is DayComparison => d !== null);
    const all = summarise(series, days.flatMap((d) => d.pairs));
    if (!all) continue;
    const dayChanges = prepared[0] ? compareBaselineDays(series, prepared[0].baseline).map((d) => d?.change ?? NaN) : [];
    out.push({
      bird: series.bird, after, day, measure: series.measure, value: all.value, baseline: all.baseline, change: all.change,
      changes: all.changes, dayChanges,
    });
  }
  return out;
}

/** Evidence of the group: one change per bird. Baseline days are put side by side in order. */
function pool(perBird: readonly Evidence[][]): Evidence[] {
  const all = perBird.flat();
  const keys = new Map<string, Evidence[]>();
  for (const e of all) keys.set(`${e.after} ${e.day} ${e.measure}`, [...(keys.get(`${e.after} ${e.day} ${e.measure}`) ?? []), e]);
  const mean = (values: readonly number[]): number => values.reduce((s, v) => s + v, 0) / values.length;
  return [...keys.values()].map((own): Evidence => {
    const days = Math.max(...own.map((e) => e.dayChanges.length));
    const dayChanges = Array.from({ length: days }, (_, day) => mean(own.map((e) => e.dayChanges[day] ?? NaN).filter(Number.isFinite)));
    const changes = own.map((e) => e.change);
    const average = own[0].measure === 'timing' ? averageHours : mean;
    return { ...own[0], bird: '', value: average(own.map((e) => e.value)), baseline: average(own.map((e) => e.baseline)), change: mean(changes), changes, dayChanges };
  });
}

function requireData(perBird: readonly BirdComparison[], baselineHours: readonly { hours: number }[]): void {
  if (!perBird.some((b) => b.eventCount)) throw new VolaryError('no-data', { where: 'handling', what: 'no handling within the study of a bird that has a track', expected: 'at least one fitted, battery or other' });
  if (!baselineHours.some((b) => b.hours > 0)) {
    throw new VolaryError('no-data', { where: 'baseline', what: 'no usable time later than the days to test', expected: 'a recording that outlasts them', mend: 'test fewer days with --test-days, or set --baseline' });
  }
  if (!perBird.some((b) => b.evidence.length)) throw new VolaryError('no-data', { where: 'handling', what: 'no whole day after a handling that can be compared with the baseline', expected: `${DAY_SEC / 3600} hours before the next handling or the end` });
}

/** Order of rows in the table. */
export function compareRows(a: HabituationRow, b: HabituationRow): number {
  const kinds = ['fitted', 'battery', 'other'];
  return (a.bird < b.bird ? -1 : a.bird > b.bird ? 1 : 0) || kinds.indexOf(a.after) - kinds.indexOf(b.after) || HABIT_MEASURES.indexOf(a.measure) - HABIT_MEASURES.indexOf(b.measure) || a.day - b.day;
}

