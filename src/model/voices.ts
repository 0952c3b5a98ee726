import type { Candidate } from '../evidence/candidate.js';
import { readVoicePattern, VOICE_BINS } from '../evidence/voice-pattern.js';
import { findNear, type Template } from './templates.js';

/** Patterns of the voices of all candidates side by side, and their lengths as vectors. */
export interface Voices {
  /** [candidate][VOICE_BINS]. */
  patterns: Int8Array;
  lengths: Float64Array;
  /** Of the upper three quarters, and of the upper halves alone. */
  restLengths: Float64Array;
  upperLengths: Float64Array;
  /** Multiplies patterns by kernels; the plain loops where it is not given. */
  products?: VoiceProducts;
}

/** Inner products of a pattern with the first `count` of `others`, exact; valid until the next call. */
export interface VoiceProducts {
  others: Int32Array;
  multiply(n: number, count: number): ArrayLike<number>;
}

/** Gives memory for patterns of so many voices, and what multiplies them there. Those of the voices before are gone. */
export type PlaceVoices = (count: number) => { patterns: Int8Array; products: VoiceProducts };

/** Templates of a bird that a voice is compared with: the nearest in time. */
export const MOST_TEMPLATES = 24;
const QUARTER = VOICE_BINS / 4, HALF = VOICE_BINS / 2;
/** Calls nearer than this in time may hold some of the same sound. */
const APART_SEC = 0.02;

export function readVoices(candidates: readonly Candidate[], place?: PlaceVoices): Voices {
  const placed = place?.(candidates.length), patterns = placed?.patterns ?? new Int8Array(candidates.length * VOICE_BINS);
  const [lengths, restLengths, upperLengths] = [0, 1, 2].map(() => new Float64Array(candidates.length));
  candidates.forEach((c, n) => {
    readVoicePattern(c.voice, patterns, n * VOICE_BINS);
    const at = n * VOICE_BINS, upper = multiply(patterns, at, at, HALF, VOICE_BINS), rest = upper + multiply(patterns, at, at, QUARTER, HALF);
    lengths[n] = Math.sqrt(rest + multiply(patterns, at, at, 0, QUARTER));
    restLengths[n] = Math.sqrt(rest);
    upperLengths[n] = Math.sqrt(upper);
  });
  return { patterns, lengths, restLengths, upperLengths, products: placed?.products };
}

/** Cosine of the patterns of candidates `a` and `b`: 1 of equal ones, about 0 of unrelated ones; 0 where there is none. */
export function compareVoices(v: Voices, a: number, b: number): number {
  const both = v.lengths[a] * v.lengths[b];
  return both > 0 ? multiplyPair(v, a, b) / both : 0;
}

/** What is said of a voice that cannot be compared with any: less than any likeness of two. */
export const UNKNOWN_VOICE = -1;

/** Mean cosine with the two most alike calls of a list near the candidate in time, none of which may be the same sound; UNKNOWN_VOICE where there is none. */
export function compareWithBird(v: Voices, candidates: readonly Candidate[], n: number, list: readonly Template[]): number {
  const c = candidates[n], { products, lengths } = v;
  const [from, to] = findNear(list, c.onsetSec, MOST_TEMPLATES);
  let best = UNKNOWN_VOICE; let second = UNKNOWN_VOICE; let count = 0;
  for (let k = from; k < to; k++) {
    const m = list[k].candidate, o = candidates[m];
    if (o.onsetSec < c.offsetSec + APART_SEC && o.offsetSec > c.onsetSec - APART_SEC) continue;
    if (products) { products.others[count++] = m; continue; }
    const likeness = compareAbove(v, n, m, second);
    if (likeness > best) { second = best; best = likeness; } else if (likeness > second) second = likeness;
  }
  if (products && count > 0) {
    const told = products.multiply(n, count);
    for (let k = 0; k < count; k++) {
      const both = lengths[n] * lengths[products.others[k]], likeness = both > 0 ? told[k] / both : 0;
      if (likeness > best) { second = best; best = likeness; } else if (likeness > second) second = likeness;
    }
  }
  return second > UNKNOWN_VOICE ? (best + second) / 2 : best;
}

/** How much more a voice is like one bird than another; 0 where it cannot be compared with both. */
export function compareLikeness(one: number, other: number): number {
  return one > UNKNOWN_VOICE && other > UNKNOWN_VOICE ? one - other : 0;
}

/** A call that leads on its own track by this much, gains taken out, is hardly a neighbour's, however near that one's beak was. */
const CLEAR_LEAD_DB = 3;
const LEAST_CLEAR = 2;
/** What a track says whose link was down for more of a sound is not heard. */
const MOST_LOST = 0.3;

/**
 * The calls of each bird that tell its voice: those that no other track whose link was up hears nearly as loud, where there are two at least. Templates of birds in body
 * contact may hold calls of the neighbour, which would bear each other out.
 */
export function selectClear(candidates: readonly Candidate[], templates: readonly (readonly Template[])[]): (readonly Template[])[] {
  return templates.map((list, track) => {
    const clear = list.filter((t) => t.leadDb.every((lead, j) => j === track || !(lead < CLEAR_LEAD_DB) || candidates[t.candidate].lostShare[j] > MOST_LOST));
    return clear.length < LEAST_CLEAR ? list : clear;
  });
}

/** A product less than this below the bound is worked out. */
const ROUNDING = 1e-9;

/** The cosine of two patterns where it is above `least`, else anything that is not. */
function compareAbove(v: Voices, a: number, b: number, least: number): number {
  const both = v.lengths[a] * v.lengths[b];
  if (!(both > 0)) return 0;
  let sum = multiply(v.patterns, a * VOICE_BINS, b * VOICE_BINS, 0, QUARTER);
  // What is left is no more than the product of the lengths (Cauchy and Schwarz).
  let most = (sum + v.restLengths[a] * v.restLengths[b]) / both;
  if (most + ROUNDING < least) return most;
  sum += multiply(v.patterns, a * VOICE_BINS, b * VOICE_BINS, QUARTER, HALF);
  most = (sum + v.upperLengths[a] * v.upperLengths[b]) / both;
  if (most + ROUNDING < least) return most;
  return (sum + multiply(v.patterns, a * VOICE_BINS, b * VOICE_BINS, HALF, VOICE_BINS)) / both;
}

/** Inner product of the patterns of two candidates. */
function multiplyPair({ patterns, products }: Voices, a: number, b: number): number {
  if (!products) return multiply(patterns, a * VOICE_BINS, b * VOICE_BINS, 0, VOICE_BINS);
  products.others[0] = b;
  return products.multiply(a, 1)[0];
}

/** Sum of products of values [from, to) of two patterns. */
function multiply(x: Int8Array, a: number, b: number, from: number, to: number): number {
  let sum = 0;
  for (let k = from; k < to; k++) sum += x[a + k] * x[b + k];
  return sum;
}
