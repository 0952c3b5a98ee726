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
  blocks.forEach((block, k) => {
    const one = first.onsets.subarray(first.first[k], first.first[k + 1]);
    const other = second.onsets.subarray(second.first[k], second.first[k + 1]);
    addAlternations(observed, one, other, settings.reachSec);
    for (const sum of drawn) addAlternations(sum, one.length ? shiftRing(one, block, random.nextUnit()) : one, other, settings.reachSec);
  });
  const shareOf = (s: { followed: number; alternations: number }): number => (s.followed > 0 ? s.alternations / s.followed : 0);
  const shares = drawn.map(shareOf);
  const isTold = observed.followed > 0 && first.onsets.length > 0 && second.onsets.length > 0;
  const chance = isTold && surrogates > 0 ? shares.reduce((s, x) => s + x, 0) / surrogates : NaN;
  const share = isTold ? shareOf(observed) : NaN;
  return { birdA: a.bird, birdB: b.bird, ...observed, share, chance, index: share - chance, p: isTold ? computeTwoSidedP(share, shares) : NaN };
}

/** Shifts onsets along a block closed to a ring, by a part of its length. */
function shiftRing(onsets: Float64Array, block: Interval, part: number): Float64Array {
  const lengthSec = block.endSec - block.startSec;
  const moved = onsets.map((t) => t + part * lengthSec);
  const cut = moved.findIndex((t) => t >= block.endSec);
  if (cut < 0) return moved;
  const ring = new Float64Array(moved.length);
  for (let i = 0; i < moved.length; i++) ring[i] = i + cut < moved.length ? moved[i + cut] - lengthSec : moved[i + cut - moved.length];
  return ring;
}

/** Walks through both trains in order of time. */
function addAlternations(sum: { followed: number; alternations: number }, a: Float64Array, b: Float64Array, reachSec: number): void {
  let i = 0;
  let j = 0;
  let last = -Infinity;
  let lastIsA = true;
  while (i < a.length || j < b.length) {
    const isA = j >= b.length || (i < a.length && a[i] <= b[j]);
    const t = isA ? a[i++] : b[j++];
    if (t - last < reachSec) {
      sum.followed++;
      if (isA !== lastIsA) sum.alternations++;
    }
    last = t;
    lastIsA = isA;
  }
}
