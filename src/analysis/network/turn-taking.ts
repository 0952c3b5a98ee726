import { RandomWords } from '../../numeric/random-words.js';
import { seedOf } from './measure-pair.js';
import { computeTwoSidedP } from './multiple-tests.js';
import { splitByBlocks } from './replies.js';
import type { Pair } from './trains.js';
import type { Interval, NetworkSettings, Train } from './types.js';

/** Turn-taking of two birds. */
export interface TurnTaking {
  birdA: string;
  birdB: string;
  /** Calls of either that the next call of either follows within reach. */
  followed: number;
  /** Those followed by the other bird. */
  alternations: number;
  share: number;
  /** Mean share over circular shifts. */
  chance: number;
  /** share - chance: above 0 the two take turns more than their rhythms alone would make them. */
  index: number;
  p: number;
}

/** Its null is broad and its cost high: fewer surrogates than for an edge. */
const MOST_SURROGATES = 200;

/** How far two birds take turns: of successive calls nearer than the correlograms reach, the share that change bird, against circular shifts. */
export function measureTurnTaking(trains: readonly Train[], pairs: readonly Pair[], settings: NetworkSettings, onPair?: () => void): TurnTaking[] {
  return pairs.filter((p) => p.caller < p.replier).map((pair, k) => {
    const result = measureDyad(trains[pair.caller], trains[pair.replier], pair.blocks, settings, seedOf(settings.seed + 2, k));
    onPair?.();
    return result;
  });
}

function measureDyad(a: Train, b: Train, blocks: readonly Interval[], settings: NetworkSettings, seed: number): TurnTaking {
  const first = splitByBlocks(a.onsetSec, blocks);
  const second = splitByBlocks(b.onsetSec, blocks);
  const surrogates = Math.min(MOST_SURROGATES, settings.surrogates);
  const observed = { followed: 0, alternations: 0 };
  const drawn = Array.from({ length: surrogates }, () => ({ followed: 0, alternations: 0 }));
  const random = new RandomWords(seed);
  const ring = new Float64Array(first.onsets.length);
  blocks.forEach((block, k) => {
    const one = first.onsets.subarray(first.first[k], first.first[k + 1]);
    const other = second.onsets.subarray(second.first[k], second.first[k + 1]);
    addAlternations(observed, one, other, settings.reachSec);
    for (const sum of drawn) addAlternations(sum, one.length ? shiftRing(one, block, random.nextUnit(), ring) : one, other, settings.reachSec);
  });
  const shareOf = (s: { followed: number; alternations: number }): number => (s.followed > 0 ? s.alternations / s.followed : 0);
  const shares = drawn.map(shareOf);
  const isTold = observed.followed > 0 && first.onsets.length > 0 && second.onsets.length > 0;
  const chance = isTold && surrogates > 0 ? shares.reduce((s, x) => s + x, 0) / surrogates : NaN;
  const share = isTold ? shareOf(observed) : NaN;
  return { birdA: a.bird, birdB: b.bird, ...observed, share, chance, index: share - chance, p: isTold ? computeTwoSidedP(share, shares) : NaN };
}

/** Shifts onsets along a block closed to a ring, by a part of its length, into an array that is used again and again. */
function shiftRing(onsets: Float64Array, block: Interval, part: number, ring: Float64Array): Float64Array {
  const lengthSec = block.endSec - block.startSec;
  const shiftSec = part * lengthSec;
  const size = onsets.length;
  // First that leaves the block at its end and comes in at its start.
  let cut = 0;
  for (let high = size; cut < high;) {
    const middle = (cut + high) >> 1;
    if (onsets[middle] + shiftSec < block.endSec) cut = middle + 1;
    else high = middle;
  }
  let to = 0;
  for (let i = cut; i < size; i++) ring[to++] = onsets[i] + shiftSec - lengthSec;
  for (let i = 0; i < cut; i++) ring[to++] = onsets[i] + shiftSec;
  return ring.subarray(0, size);
}

/** Walks through both trains in order of time. */
function addAlternations(sum: { followed: number; alternations: number }, a: Float64Array, b: Float64Array, reachSec: number): void {
  let i = 0;
  let j = 0;
  let last = -Infinity;
  let lastIsA = true;
  let followed = 0;
  let alternations = 0;
  while (i < a.length || j < b.length) {
    const isA = j >= b.length || (i < a.length && a[i] <= b[j]);
    const t = isA ? a[i++] : b[j++];
    if (t - last < reachSec) {
      followed++;
      if (isA !== lastIsA) alternations++;
    }
    last = t;
    lastIsA = isA;
  }
  sum.followed += followed;
  sum.alternations += alternations;
}
