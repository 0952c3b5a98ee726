import { intersectIntervals, sumIntervals } from './observed-time.js';
import type { PairMeasure } from './measure-pair.js';
import type { Interval } from './types.js';

/** What a pair may owe to other birds between its two. */
export interface IndirectPaths {
  /** Excess that paths over other birds would give, to first order, all calls of these counted. */
  excess: number;
  /** Part of it that the regression cannot know because the other birds' calls are missing from the table. */
  hidden: number;
  /** Rate of chance replies of the replier's own accord: what is left when its replies to others are taken off. */
  base: number;
  /** Bird over which most of it leads; '' where no other bird exchanges calls with both. */
  through: string;
}

/** Of calls that are nearly all replies so much still counts as of the bird's own accord. */
const LEAST_BASE = 0.1;

/**
 * Excess of every pair (a, c) that could come from a third bird b, to first order: a chain (b answers a, c answers b) gives e(a,b) e(b,c), a common
 * cause (both answer b) e(b,a) e(b,c) for each call of b. Of this the part stays hidden from the regression that belongs to calls of b that the
 * table misses: the share `missedShare`, and what b said while its own track was not heard.
 * @param sureCalls calls of each bird that the excess was measured with. @param tableCalls calls that the table holds of it, by their probabilities.
 * @param heard when each bird's track was heard, excluded times too.
 */
export function measureIndirectPaths(
  measures: readonly PairMeasure[], sureCalls: ReadonlyMap<string, number>, tableCalls: ReadonlyMap<string, number>,
  heard: ReadonlyMap<string, readonly Interval[]>, missedShare: number,
): IndirectPaths[] {
  const birds = [...sureCalls.keys()];
  const at = new Map(measures.map((m) => [`${m.caller}\n${m.replier}`, m]));
  const excessOf = (a: string, b: string): number => Math.max(0, at.get(`${a}\n${b}`)?.excess || 0);
  const repliesOf = (a: string, b: string): number => excessOf(a, b) * (at.get(`${a}\n${b}`)?.calls ?? 0);
  const missing = measureMissing(birds, heard, missedShare);
  return measures.map(({ caller: a, replier: c, calls, replierCalls, chanceShift }) => {
    const paths = { excess: 0, hidden: 0, base: NaN, through: '' };
    let most = 0;
    let answers = 0;
    for (const b of birds) {
      if (b === c || b === a) continue;
      answers += repliesOf(b, c);
      const sure = excessOf(a, b) * excessOf(b, c) + (calls > 0 ? (repliesOf(b, a) * excessOf(b, c)) / calls : 0);
      if (sure === 0) continue;
      const path = sure * (tableCalls.get(b)! / sureCalls.get(b)!);
      paths.excess += path;
      paths.hidden += missing(b, c) * path;
      if (path > most) { most = path; paths.through = b; }
    }
    paths.base = chanceShift * Math.max(LEAST_BASE, 1 - answers / Math.max(1, replierCalls));
    return paths;
  });
}

/** Missing calls of b per call in the table, over the time in which c was heard. */
function measureMissing(birds: readonly string[], heard: ReadonlyMap<string, readonly Interval[]>, missedShare: number): (b: string, c: string) => number {
  const odds = new Map(birds.flatMap((c) => birds.filter((b) => b !== c).map((b) => {
    const wholeSec = sumIntervals(heard.get(c)!);
    const bothSec = sumIntervals(intersectIntervals(heard.get(b)!, heard.get(c)!));
    const found = (1 - missedShare) * (wholeSec > 0 ? bothSec / wholeSec : 1);
    return [`${b}\n${c}`, found > 0 ? (1 - found) / found : Infinity];
  })));
  return (b, c) => odds.get(`${b}\n${c}`)!;
}
