import type { ExclusionRow, HabitMeasure, HabituationRow, HandlingRow } from '../../schema/analysis-rows.js';
import { deriveExclusions, formatDays } from '../exclusions/derive-exclusions.js';
import type { DaysAfter } from '../exclusions/derive-exclusions.js';
import type { HabituationSettings } from './settings.js';

export interface UsableDecision {
  /** '' = the group. */
  bird: string;
  after: keyof DaysAfter;
  /** Days that were compared. */
  testedDays: number;
  measures: HabitMeasure[];
  /** First day from which on every measure is back to baseline on every tested day; null where that is not shown. */
  firstUsableDay: number | null;
}

/**
 * From which day on is everything back to baseline? A day counts only where every measure is equivalent (intersection-union test, Berger
 * 1982, Technometrics 24, 295-300), and days are taken from the last backwards until one fails: a fixed sequence of tests keeps the chance
 * of any false claim at alpha without a further correction (Maurer, Hothorn & Lehmacher 1995, from memory).
 */
export function decideUsable(rows: readonly HabituationRow[], bird: string, margin: number | undefined): UsableDecision[] {
  return (['fitted', 'battery', 'other'] as const).flatMap((after): UsableDecision[] => {
    const own = rows.filter((r) => r.after === after);
    if (!own.length) return [];
    const measures = [...new Set(own.map((r) => r.measure))];
    const testedDays = Math.max(...own.map((r) => r.day));
    let first: number | null = null;
    for (let day = testedDays; margin !== undefined && day >= 1; day--) {
      const onDay = own.filter((r) => r.day === day);
      if (onDay.length < measures.length || !onDay.every((r) => r.verdict === 'equivalent')) break;
      first = day;
    }
    return [{ bird, after, testedDays, measures, firstUsableDay: first }];
  });
}

/** The handling itself is never used. */
const LEAST_DAYS = 1 / 24;

/**
 * What to leave out: until the group is back to baseline where that is shown; else the usual days, or all tested days where a margin was
 * set and the return is not shown. A bird that itself differs later is left out longer.
 */
export function excludeByDecision(
  handling: readonly HandlingRow[], birds: readonly string[], endSec: number, decisions: readonly UsableDecision[], rows: readonly HabituationRow[], settings: HabituationSettings,
): ExclusionRow[] {
  return deriveExclusions(handling, birds, endSec, settings.daysAfter, (bird, row) => {
    const after = row.what as keyof DaysAfter;
    const group = decisions.find((d) => d.bird === '' && d.after === after);
    const usual = settings.daysAfter[after];
    const chosen = chooseDays(group, after, usual, settings.margin);
    const differs = Math.max(0, ...rows.filter((r) => r.bird === bird && r.after === after && r.verdict === 'different').map((r) => r.day));
    return differs > chosen.days ? { days: differs, reason: `${after}: this bird differs from its baseline until day ${differs}` } : chosen;
  });
}

function chooseDays(group: UsableDecision | undefined, after: string, usual: number, margin: number | undefined): { days: number; reason: string } {
  if (!group || margin === undefined) return { days: usual, reason: `${after}: ${formatDays(usual)} after handling, by the settings${group ? '; no margin was set' : ''}` };
  const within = `within ${formatShare(margin)}`;
  if (group.firstUsableDay === null) {
    const days = Math.max(usual, group.testedDays);
    return { days, reason: `${after}: ${formatDays(days)} after handling; not shown to be back to baseline ${within} until then` };
  }
  return { days: Math.max(LEAST_DAYS, group.firstUsableDay - 1), reason: `${after}: until the group is back to baseline ${within} on day ${group.firstUsableDay}` };
}

export function formatShare(share: number): string {
  return `${Number((100 * share).toFixed(1))} %`;
}
