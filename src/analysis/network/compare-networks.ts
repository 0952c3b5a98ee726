import { VolaryError } from '../../schema/errors.js';
import { normalCdf } from '../../numeric/normal.js';
import { toMatrix } from './build-network.js';
import { seedOf } from './measure-pair.js';
import { adjustFalseDiscovery } from './multiple-tests.js';
import { testLikeness } from './permute-birds.js';
import type { PermutationTest } from './permute-birds.js';

/** What a comparison needs of an edge. */
export interface ComparedEdge { caller: string; replier: string; excess: number; excessLow: number; excessHigh: number }

export interface EdgeDifference { caller: string; replier: string; excess: number; otherExcess: number; difference: number; p: number; q: number }

export interface NetworkComparison extends PermutationTest { birds: string[]; differences: EdgeDifference[] }

/**
 * Compares two networks over the birds that both hold: likeness as a whole (Mantel test by permuting birds) and difference edge by edge, with
 * standard errors from the widths of the 95 % intervals.
 * @throws VolaryError 'no-data' with fewer than three birds in common.
 */
export function compareNetworks(edges: readonly ComparedEdge[], others: readonly ComparedEdge[], permutations: number, seed: number): NetworkComparison {
  const namesOf = (list: readonly ComparedEdge[]): Set<string> => new Set(list.flatMap((e) => [e.caller, e.replier]));
  const there = namesOf(others);
  const birds = [...namesOf(edges)].filter((b) => there.has(b)).sort();
  if (birds.length < 3) throw new VolaryError('no-data', { what: 'two networks with too few birds in common', got: birds.join(', ') || 'none', expected: 'at least three' });
  const test = testLikeness(toMatrix(birds, edges), toMatrix(birds, others), permutations, seedOf(seed + 5, 0));
  const byPair = new Map(others.map((e) => [`${e.caller}\n${e.replier}`, e]));
  const both = edges.filter((e) => byPair.has(`${e.caller}\n${e.replier}`)).map((e) => [e, byPair.get(`${e.caller}\n${e.replier}`)!]);
  const ps = both.map(([a, b]) => {
    const error = Math.sqrt(squareError(a) + squareError(b));
    return error > 0 ? 2 * normalCdf(-Math.abs(a.excess - b.excess) / error) : NaN;
  });
  const q = adjustFalseDiscovery(ps);
  const differences = both.map(([a, b], k) => ({ caller: a.caller, replier: a.replier, excess: a.excess, otherExcess: b.excess, difference: a.excess - b.excess, p: ps[k], q: q[k] }));
  return { ...test, birds, differences };
}

function squareError(e: ComparedEdge): number {
  const error = (e.excessHigh - e.excessLow) / (2 * 1.959964);
  return error * error;
}
