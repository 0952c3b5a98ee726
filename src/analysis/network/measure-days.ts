import { sumReplies } from './measure-pair.js';
import type { PairMeasure } from './measure-pair.js';
import { correlate } from './permute-birds.js';
import type { Pair } from './trains.js';
import type { NetworkSettings, Train } from './types.js';

/** One ordered pair on one day. */
export interface DayMeasure {
  caller: string;
  replier: string;
  /** Day of the study, the first is 1; by the calendar where the time of day is known. */
  day: number;
  calls: number;
  replies: number;
  replyProbability: number;
  chance: number;
  excess: number;
}

/** How alike two days are. */
export interface DayLikeness {
  dayA: number;
  dayB: number;
  /** Ordered pairs with enough calls on both days. */
  pairs: number;
  /** Pearson correlation of their excess. */
  correlation: number;
}

/** Fewer calls on a day make no share worth correlating. */
const LEAST_CALLS = 20;
const LEAST_PAIRS = 4;
export const DAY_SEC = 86400;

/**
 * Reply probability and its excess over chance, day by day.
 * @param dayOffsetSec seconds from midnight to the study's start.
 */
export function measureDays(trains: readonly Train[], pairs: readonly Pair[], measures: readonly PairMeasure[], settings: NetworkSettings, dayOffsetSec: number): DayMeasure[] {
  return pairs.flatMap((pair, k) => {
    const dayOf = (sec: number): number => Math.floor((sec + dayOffsetSec) / DAY_SEC) + 1;
    const days = [...new Set(pair.blocks.map((b) => dayOf(b.startSec)))].sort((a, b) => a - b);
    const { caller, replier } = measures[k];
    return days.map((day) => {
      const blocks = pair.blocks.filter((b) => dayOf(b.startSec) === day);
      const { calls, replies, chance } = sumReplies(trains[pair.caller].onsetSec, trains[pair.replier].onsetSec, blocks, settings, () => 1);
      const share = chance / calls + (measures[k].chance - measures[k].chanceShift || 0);
      return { caller, replier, day, calls, replies, replyProbability: replies / calls, chance: share, excess: replies / calls - share };
    });
  });
}

/** Correlation of the excess of the same pairs on every two days that have at least 4 pairs with 20 calls each. */
export function compareDays(rows: readonly DayMeasure[]): DayLikeness[] {
  const days = new Map<number, Map<string, number>>();
  for (const row of rows) {
    if (row.calls < LEAST_CALLS) continue;
    if (!days.has(row.day)) days.set(row.day, new Map());
    days.get(row.day)!.set(`${row.caller}\n${row.replier}`, row.excess);
  }
  const order = [...days.keys()].sort((a, b) => a - b);
  return order.flatMap((dayA, i) => order.slice(i + 1).flatMap((dayB) => {
    const keys = [...days.get(dayA)!.keys()].filter((key) => days.get(dayB)!.has(key));
    if (keys.length < LEAST_PAIRS) return [];
    return [{ dayA, dayB, pairs: keys.length, correlation: correlate(keys.map((key) => days.get(dayA)!.get(key)!), keys.map((key) => days.get(dayB)!.get(key)!)) }];
  }));
}
