import { describe, expect, it } from 'vitest';
import { intersectionOverUnion } from '../../src/numeric/intervals.js';
import { assignPairs } from '../../src/score/assign-pairs.js';
import type { WeightedPair } from '../../src/score/assign-pairs.js';
import { matchCalls } from '../../src/score/match-calls.js';
import { RandomWords } from '../../src/score/random.js';
import type { TimedCall } from '../../src/score/types.js';
import { makeRandomTables, shuffle } from './random-tables.js';

/** Costs as weights that are all above zero and so large that every row is served; the least cost is then the largest weight. */
function assignCosts(costs: number[][]): { columns: number[]; cost: number } {
  const pairs = costs.flatMap((line, row) => line.map((cost, column): WeightedPair => ({ row, column, weight: 10000 - cost })));
  const columns = assignPairs(pairs).map((pair) => pair.column);
  return { columns, cost: columns.reduce((sum, column, row) => sum + costs[row][column], 0) };
}

/** The largest total weight by trying everything. */
function bestTotal(pairs: readonly WeightedPair[], from = 0, rows = new Set<number>(), columns = new Set<number>()): number {
  if (from === pairs.length) return 0;
  const { row, column, weight } = pairs[from];
  const without = bestTotal(pairs, from + 1, rows, columns);
  if (rows.has(row) || columns.has(column)) return without;
  const taken = weight + bestTotal(pairs, from + 1, new Set(rows).add(row), new Set(columns).add(column));
  return Math.max(without, taken);
}

const call = (bird: string, onsetSec: number, offsetSec: number): TimedCall => ({ bird, onsetSec, offsetSec });

describe('assignPairs', () => {
  // Textbook cases; optimum checked with scipy.optimize.linear_sum_assignment (the first matrix is the example of its documentation).
  it('finds the published optima', () => {
    expect(assignCosts([[4, 1, 3], [2, 0, 5], [3, 2, 2]])).toEqual({ columns: [1, 0, 2], cost: 5 });
    expect(assignCosts([[400, 150, 400], [400, 450, 600], [300, 225, 300]]).cost).toBe(850);
  });

  it('beats the greedy choice', () => {
    expect(assignCosts([[1, 2], [2, 100]])).toEqual({ columns: [1, 0], cost: 4 });
  });

  it('agrees with trying everything on random sparse graphs', () => {
    const random = new RandomWords(11);
    for (let round = 0; round < 300; round++) {
      const pairs: WeightedPair[] = [];
      for (let row = 0; row < 5; row++) {
        for (let column = 0; column < 5; column++) {
          if (random.nextBelow(3) === 0) pairs.push({ row, column, weight: (1 + random.nextBelow(20)) / 20 });
        }
      }
      const chosen = assignPairs(pairs);
      expect(new Set(chosen.map((p) => p.row)).size).toBe(chosen.length);
      expect(new Set(chosen.map((p) => p.column)).size).toBe(chosen.length);
      for (const pair of chosen) expect(pairs).toContainEqual(pair);
      expect(chosen.reduce((sum, p) => sum + p.weight, 0)).toBeCloseTo(bestTotal(pairs), 12);
    }
  });

  it('returns nothing for nothing', () => {
    expect(assignPairs([])).toEqual([]);
  });

  it('refuses a group of conflicts that would exhaust the memory', () => {
    const pairs: WeightedPair[] = [];
    for (let i = 0; i < 5000; i++) pairs.push({ row: i, column: i, weight: 1 }, { row: i, column: Math.max(0, i - 1), weight: 0.5 });
    expect(() => assignPairs(pairs.slice(2))).toThrow(/too many calls conflict/);
  });
});

describe('intersectionOverUnion', () => {
  it('follows its definition', () => {
    expect(intersectionOverUnion(call('A', 0, 1), call('A', 0.5, 1.5))).toBeCloseTo(1 / 3, 15);
    expect(intersectionOverUnion(call('A', 0, 1), call('A', 0.2, 0.7))).toBeCloseTo(0.5, 15);
    expect(intersectionOverUnion(call('A', 0, 1), call('A', 1, 2))).toBe(0);
    expect(intersectionOverUnion(call('A', 0, 1), call('A', 2, 3))).toBe(0);
  });
});

describe('matchCalls', () => {
  it('takes onsets up to 50 ms apart, the limit included, and needs overlap', () => {
    const at = (onsetSec: number): number => matchCalls([call('A', onsetSec, 1.3)], [call('A', 1, 1.2)]).pairs.length;
    expect(at(1.05)).toBe(1);
    expect(at(0.95)).toBe(1);
    expect(at(1.0501)).toBe(0);
    expect(at(0.9499)).toBe(0);
    expect(matchCalls([call('A', 1, 1.03)], [call('A', 1.03, 1.1)]).pairs).toEqual([]);
    expect(matchCalls([call('A', 1, 1.2)], [call('A', 1.2, 1.4)], { toleranceSec: 0.5 }).pairs).toEqual([]);
    expect(matchCalls([call('A', 1, 1.2)], [call('A', 1.1, 1.4)], { toleranceSec: 0.1 }).pairs).toHaveLength(1);
  });

  it('is one to one: a second report of the same call stays without a label', () => {
    const matching = matchCalls([call('A', 1.01, 1.2), call('A', 1, 1.2)], [call('A', 1, 1.2)]);
    expect(matching.pairs).toEqual([{ call: 1, label: 0, iou: 1 }]);
    expect([...matching.labelOfCall]).toEqual([-1, 0]);
    expect([...matching.callOfLabel]).toEqual([1]);
  });

  it('prefers the same bird among equal choices, and only then', () => {
    const labels = [call('A', 1, 1.2), call('B', 1, 1.2)];
    for (const calls of [[call('B', 1, 1.2), call('A', 1, 1.2)], [call('A', 1, 1.2), call('B', 1, 1.2)]]) {
      const { pairs } = matchCalls(calls, labels);
      expect(pairs.map((p) => [calls[p.call].bird, labels[p.label].bird])).toEqual(calls.map((c) => [c.bird, c.bird]));
    }
    // Here the crossed pairs overlap better, so the birds are confused.
    const crossed = matchCalls([call('A', 1.02, 1.2), call('B', 1, 1.18)], [call('A', 1, 1.18), call('B', 1.02, 1.2)]);
    expect(crossed.pairs.map((p) => [p.call, p.label])).toEqual([[0, 1], [1, 0]]);
  });

  it('restricted to the same bird finds only pairs of one bird', () => {
    const calls = [call('A', 1, 1.2), call('B', 2, 2.2), call('none', 3, 3.1)];
    const labels = [call('B', 1, 1.2), call('B', 2.01, 2.2), call('none', 3, 3.1)];
    expect(matchCalls(calls, labels, { sameBird: true }).pairs.map((p) => [p.call, p.label])).toEqual([[1, 1], [2, 2]]);
    expect(matchCalls(calls, labels).pairs).toHaveLength(3);
  });

  it('reaches the largest total overlap: agrees with trying everything on random crowded tables', () => {
    let conflicts = 0;
    for (let seed = 1; seed <= 150; seed++) {
      const { calls, labels } = makeRandomTables(seed, 8, 0.5);
      for (const sameBird of [false, true]) {
        const pairs: WeightedPair[] = [];
        calls.forEach((c, row) => labels.forEach((l, column) => {
          const weight = intersectionOverUnion(c, l);
          if (weight > 0 && Math.abs(c.onsetSec - l.onsetSec) <= 0.05 + 1e-9 && (!sameBird || c.bird === l.bird)) pairs.push({ row, column, weight });
        }));
        if (pairs.length > 18) continue;
        const matching = matchCalls(calls, labels, { sameBird });
        const total = matching.pairs.reduce((sum, p) => sum + p.iou, 0);
        // The bonus for the same bird may cost at most a millionth per pair.
        expect(Math.abs(total - bestTotal(pairs))).toBeLessThanOrEqual(1e-6 * calls.length);
        if (pairs.length > matching.pairs.length) conflicts++;
      }
    }
    expect(conflicts).toBeGreaterThan(50);
  });

  it('does not depend on the order of the rows', () => {
    const { calls, labels } = makeRandomTables(5, 300, 20);
    const describePairs = (c: TimedCall[], l: TimedCall[]): string[] =>
      matchCalls(c, l).pairs.map((p) => JSON.stringify([c[p.call], l[p.label]])).sort();
    const pairs = describePairs(calls, labels);
    expect(pairs.length).toBeGreaterThan(100);
    for (const seed of [1, 2, 3]) expect(describePairs(shuffle(calls, seed), shuffle(labels, seed + 10))).toEqual(pairs);
  });

  it('returns nothing for empty tables', () => {
    expect(matchCalls([], []).pairs).toEqual([]);
    expect([...matchCalls([], [call('A', 0, 1)]).callOfLabel]).toEqual([-1]);
  });
});
