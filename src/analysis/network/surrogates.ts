import { RandomWords } from '../../numeric/random-words.js';
import { lowerBound } from './observed-time.js';
import { splitByBlocks } from './replies.js';
import type { Interval } from './types.js';

/** What surrogates say of the number of replies. */
export interface SurrogateReplies {
  /** Replies in each surrogate. */
  counts: Float64Array;
  /** Mean and standard deviation over all surrogates there could be, not over those drawn. */
  mean: number;
  sd: number;
}

/** Steps of a circular shift and of a jitter: powers of two, so that a word of random bits holds several. */
const SHIFT_BITS = 12;
const SHIFT_STEPS = 1 << SHIFT_BITS;
const JITTER_BITS = 7;
const JITTER_STEPS = 1 << JITTER_BITS;

/**
 * Replies when the caller's calls are shifted as a whole, block by block, each block closed to a ring and shifted by its own random step:
 * both birds keep their own rhythm and their rate in every block, only the tie between the two is cut.
 * @param caller onsets, ascending. @param blocks stretches in which both birds are observed.
 */
export function drawShifts(
  caller: Float64Array, replier: Float64Array, blocks: readonly Interval[], fromSec: number, toSec: number, surrogates: number, seed: number,
): SurrogateReplies {
  const random = new RandomWords(seed);
  const a = splitByBlocks(caller, blocks);
  const b = splitByBlocks(replier, blocks);
  const counts = new Float64Array(surrogates);
  const words = new Uint32Array(Math.ceil(surrogates / 2));
  let mean = 0;
  let variance = 0;
  blocks.forEach((block, k) => {
    const calls = a.onsets.subarray(a.first[k], a.first[k + 1]);
    const others = b.onsets.subarray(b.first[k], b.first[k + 1]);
    if (calls.length === 0 || others.length === 0) return;
    const table = countByShift(calls, others, block.endSec - block.startSec, fromSec, toSec);
    const moments = describeTable(table);
    mean += moments.mean;
    variance += moments.variance;
    random.fillWords(words);
    for (let s = 0, w = 0; s < surrogates; s += 2, w++) {
      counts[s] += table[words[w] & (SHIFT_STEPS - 1)];
      if (s + 1 < surrogates) counts[s + 1] += table[(words[w] >>> 16) & (SHIFT_STEPS - 1)];
    }
  });
  return { counts, mean, sd: Math.sqrt(variance) };
}

/** Number of calls with a reply at each step of a circular shift of one block (kernel of drawShifts; exported to be checked). */
export function countByShift(calls: Float64Array, others: Float64Array, lengthSec: number, fromSec: number, toSec: number): Int32Array {
  const scale = SHIFT_STEPS / lengthSec;
  const table = new Int32Array(SHIFT_STEPS + 1);
  const last = others.length - 1;
  for (let j = 0; j <= last; j++) {
    // Windows of neighbouring replies overlap; each is cut where the one before it ends, so that a call counts once.
    const gap = j > 0 ? others[j] - others[j - 1] : others[0] - others[last] + lengthSec;
    const width = Math.min(toSec - fromSec, gap);
    for (let i = 0; i < calls.length; i++) {
      const high = others[j] - calls[i] - fromSec;
      const start = Math.floor((high - width) * scale) + 1;
      const end = Math.floor(high * scale) + 1;
      if (end === start) continue;
      const p = start & (SHIFT_STEPS - 1);
      const q = end & (SHIFT_STEPS - 1);
      table[p]++;
      table[q]--;
      if (q <= p) table[0]++;
    }
  }
  for (let s = 1; s < SHIFT_STEPS; s++) table[s] += table[s - 1];
  return table.subarray(0, SHIFT_STEPS);
}

/**
 * Replies when each bout of the caller is placed anew, evenly, within its cell of `cellSec` (interval jitter: Amarasingham, Harrison,
 * Hatsopoulos and Geman 2012, J. Neurophysiol. 107:517-531). Common changes of rate slower than a cell stay, timing finer than it is cut;
 * the rhythm inside a bout stays.
 */
export function drawJitters(
  caller: Float64Array, replier: Float64Array, fromSec: number, toSec: number, cellSec: number, boutGapSec: number, surrogates: number, seed: number,
): SurrogateReplies {
  const { tables, size } = tabulateBouts(caller, replier, fromSec, toSec, cellSec, boutGapSec);
  let mean = 0;
  let variance = 0;
  for (let m = 0; m < size; m++) {
    const moments = describeTable(tables.subarray(m * JITTER_STEPS, (m + 1) * JITTER_STEPS));
    mean += moments.mean;
    variance += moments.variance;
  }
  const random = new RandomWords(seed);
  const counts = new Float64Array(surrogates);
  const words = new Uint32Array(surrogates);
  // Four bouts at a time for all surrogates: their tables stay in the cache. Those past the last are empty.
  for (let first = 0; first < size * JITTER_STEPS; first += 4 * JITTER_STEPS) {
    random.fillWords(words);
    for (let s = 0; s < surrogates; s++) counts[s] += pickFour(tables, first, words[s]);
  }
  return { counts, mean, sd: Math.sqrt(variance) };
}

/** Sum of what four tables in a row hold at the steps that one word names. */
function pickFour(tables: Uint16Array, first: number, word: number): number {
  const mask = JITTER_STEPS - 1;
  return tables[first + (word & mask)] + tables[first + JITTER_STEPS + ((word >>> 8) & mask)]
    + tables[first + 2 * JITTER_STEPS + ((word >>> 16) & mask)] + tables[first + 3 * JITTER_STEPS + ((word >>> 24) & mask)];
}

/** Replies of each bout at each place in its cell; bouts that could find none are left out. */
function tabulateBouts(caller: Float64Array, replier: Float64Array, fromSec: number, toSec: number, cellSec: number, boutGapSec: number): { tables: Uint16Array; size: number } {
  const step = cellSec / JITTER_STEPS;
  let tables = new Uint16Array(1024 * JITTER_STEPS);
  let size = 0;
  const change = new Int32Array(JITTER_STEPS + 1);
  for (let i = 0; i < caller.length;) {
    let end = i + 1;
    while (end < caller.length && caller[end] - caller[end - 1] < boutGapSec) end++;
    // Where the first call of the bout comes to lie at step k, relative to where it is: start + (k + 1/2) step.
    const start = Math.floor(caller[i] / cellSec) * cellSec - caller[i];
    let touched = false;
    for (let c = i; c < end; c++) {
      if (addCall(change, caller[c], replier, start, step, fromSec, toSec)) touched = true;
    }
    if (touched) {
      if ((size + 1) * JITTER_STEPS > tables.length) { const more = new Uint16Array(tables.length * 2); more.set(tables); tables = more; }
      let sum = 0;
      for (let k = 0; k < JITTER_STEPS; k++) { sum += change[k]; tables[size * JITTER_STEPS + k] = sum; }
      size++;
      change.fill(0);
    }
    i = end;
  }
  return { tables, size };
}

/** Adds the steps at which one call finds a reply; false where there is none. */
function addCall(change: Int32Array, onset: number, replier: Float64Array, start: number, step: number, fromSec: number, toSec: number): boolean {
  const limit = onset + start + JITTER_STEPS * step + toSec;
  let touched = false;
  let before = -Infinity;
  for (let j = lowerBound(replier, onset + start + fromSec); j < replier.length && replier[j] < limit; j++) {
    const high = replier[j] - onset - fromSec;
    const low = Math.max(replier[j] - onset - toSec, before);
    before = high;
    const p = Math.max(0, Math.floor((low - start) / step - 0.5) + 1);
    const q = Math.min(JITTER_STEPS, Math.floor((high - start) / step - 0.5) + 1);
    if (q <= p) continue;
    change[p]++;
    change[q]--;
    touched = true;
  }
  return touched;
}

function describeTable(table: ArrayLike<number>): { mean: number; variance: number } {
  let sum = 0;
  let squares = 0;
  for (let k = 0; k < table.length; k++) {
    sum += table[k];
    squares += table[k] * table[k];
  }
  const mean = sum / table.length;
  return { mean, variance: squares / table.length - mean * mean };
}
