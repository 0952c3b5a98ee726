import type { BoutRow } from '../../schema/analysis-rows.js';

export interface BoutSettings {
  /** Largest gap between two syllables of a bout, offset to onset. */
  gapSec: number;
  /** Fewest syllables of a bout; shorter runs are calls. */
  syllables: number;
}

/**
 * Syllables of song follow each other within tens of milliseconds, calls of one bird rarely do (common practice, no source; look at the
 * intervals of your own birds): a run of at least three with gaps below a quarter of a second.
 */
export const DEFAULT_BOUT: BoutSettings = { gapSec: 0.25, syllables: 3 };

export interface Events<Call> {
  /** Calls outside bouts. */
  calls: Call[];
  syllables: Call[];
  /** First syllable of every bout, in the order of `bouts`. */
  openings: Call[];
  bouts: BoutRow[];
}

/**
 * Parts the calls of one bird, in order of onset, into song bouts and calls outside of them.
 * @example findBouts(calls, { gapSec: 0.25, syllables: 3 }).bouts.length
 */
export function findBouts<Call extends { bird: string; onsetSec: number; offsetSec: number }>(calls: readonly Call[], settings: BoutSettings = DEFAULT_BOUT): Events<Call> {
  const events: Events<Call> = { calls: [], syllables: [], openings: [], bouts: [] };
  for (let first = 0; first < calls.length;) {
    let next = first + 1;
    let offsetSec = calls[first].offsetSec;
    for (; next < calls.length && calls[next].onsetSec - offsetSec < settings.gapSec; next++) offsetSec = Math.max(offsetSec, calls[next].offsetSec);
    const run = calls.slice(first, next);
    if (run.length < settings.syllables) events.calls.push(...run);
    else {
      events.syllables.push(...run);
      events.openings.push(run[0]);
      events.bouts.push({ bird: run[0].bird, onsetSec: run[0].onsetSec, offsetSec, syllables: run.length });
    }
    first = next;
  }
  return events;
}
