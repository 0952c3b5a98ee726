import type { ExclusionRow, HandlingKind, HandlingRow } from '../../schema/analysis-rows.js';

/** Days left out after each kind of handling. */
export type DaysAfter = Record<Exclude<HandlingKind, 'removed'>, number>;

/**
 * Three days after the first fitting and one after a battery change: common practice with light tags, no source. One's own birds may need
 * more or less: `volary habituation` measures it. Other handling counts as a battery change.
 */
export const DEFAULT_DAYS_AFTER: DaysAfter = { fitted: 3, battery: 1, other: 1 };

export const DAY_SEC = 86400;

/**
 * Windows to leave out by the handling log: the days after each handling, the time before a bird's first fitting, and the time from a
 * removal to the next fitting. A window ends with the study.
 * @param birds all birds of the study, to whom a handling of all is given out
 * @param daysFor days to leave out after one handling, by default those of its kind
 */
export function deriveExclusions(
  handling: readonly HandlingRow[], birds: readonly string[], endSec: number, daysAfter: DaysAfter = DEFAULT_DAYS_AFTER,
  daysFor: (bird: string, row: HandlingRow) => { days: number; reason: string } | undefined = () => undefined,
): ExclusionRow[] {
  return birds.flatMap((bird) => {
    const own = listHandling(handling, bird);
    const rows = own.flatMap((row, n): ExclusionRow[] => {
      if (row.what === 'removed') {
        const next = own.slice(n + 1).find((r) => r.what === 'fitted')?.timeSec ?? endSec;
        return [{ bird, startSec: row.timeSec, endSec: next, reason: 'tag removed' }];
      }
      const chosen = daysFor(bird, row) ?? { days: daysAfter[row.what], reason: `${row.what}: ${formatDays(daysAfter[row.what])} after handling, by the settings` };
      return [{ bird, startSec: row.timeSec, endSec: row.timeSec + chosen.days * DAY_SEC, reason: chosen.reason }];
    });
    const first = own.find((r) => r.what === 'fitted');
    // Whoever is handled before the fitting wore a tag already.
    if (first && first === own[0] && first.timeSec > 0) rows.unshift({ bird, startSec: 0, endSec: first.timeSec, reason: 'before fitting' });
    return rows.map((r) => ({ ...r, startSec: Math.max(0, r.startSec), endSec: Math.min(endSec, r.endSec) })).filter((r) => r.endSec > r.startSec);
  });
}

/** What was done to a bird, in order of time; a handling of all birds counts for each. */
export function listHandling(handling: readonly HandlingRow[], bird: string): HandlingRow[] {
  return handling.filter((r) => r.bird === bird || r.bird === '').sort((a, b) => a.timeSec - b.timeSec);
}

export function formatDays(days: number): string {
  return `${Number(days.toFixed(2))} day${days === 1 ? '' : 's'}`;
}
