/**
 * Candidates as rows of numbers in one array: what crosses between threads, is kept while a study is worked on and is saved. An object with nine
 * arrays of its own costs several times its content, and a busy hour has tens of thousands of them.
 */
import type { Candidate } from './candidate.js';
import { SOUND_BANDS } from './describe-sound.js';
import { VOICE_NUMBERS } from './voice-pattern.js';

type KeysOf<T> = { [K in keyof Candidate]: Candidate[K] extends T ? K : never }[keyof Candidate];

/** Order of the numbers in a row: these, then the arrays by track, then the bands and the voice. */
const NUMBERS = [
  'track', 'onsetSec', 'offsetSec', 'peakDb', 'overPedestal', 'shared', 'core', 'twin', 'elements', 'unevenness', 'gapSec', 'ownedShare', 'leadDb', 'entropy', 'crestDb', 'peakHz', 'centroidHz',
  'bandwidthHz', 'highRiseDb', 'timeEntropy', 'attackDb', 'flatness', 'steadiness', 'harmonicity', 'ownedBins',
] as const satisfies readonly KeysOf<number>[];
const BY_TRACK = ['levelDb', 'floorDb', 'lagSec', 'agreement', 'agreementZ', 'zeroLag', 'tiltDb', 'lostShare'] as const satisfies readonly KeysOf<Float64Array>[];

/** Numbers in a row. */
export function countRowNumbers(trackCount: number): number {
  return NUMBERS.length + BY_TRACK.length * trackCount + SOUND_BANDS + VOICE_NUMBERS;
}

/** @returns [candidate][number] in memory of its own */
export function packCandidates(candidates: readonly Candidate[], trackCount: number): Float64Array<ArrayBuffer> {
  const rows = new Float64Array(candidates.length * countRowNumbers(trackCount));
  let at = 0;
  for (const c of candidates) {
    for (const name of NUMBERS) rows[at++] = c[name];
    for (const name of BY_TRACK) { rows.set(c[name], at); at += trackCount; }
    rows.set(c.bands, at);
    at += SOUND_BANDS;
    rows.set(c.voice, at);
    at += VOICE_NUMBERS;
  }
  return rows;
}

/** The candidates of rows, in their order; their arrays are views of the rows. */
export function unpackCandidates(rows: Float64Array, trackCount: number): Candidate[] {
  const width = countRowNumbers(trackCount);
  return Array.from({ length: rows.length / width }, (_, n) => readRow(rows, n * width, trackCount));
}

function readRow(rows: Float64Array, start: number, trackCount: number): Candidate {
  let at = start;
  const number = (): number => rows[at++];
  const array = (length: number): Float64Array => rows.subarray(at, (at += length));
  // Written out, so that all candidates are objects of one shape.
  return {
    track: number(), onsetSec: number(), offsetSec: number(), peakDb: number(), overPedestal: number(), shared: number(), core: number(), twin: number(), elements: number(),
    unevenness: number(), gapSec: number(),
    ownedShare: number(), leadDb: number(), entropy: number(), crestDb: number(), peakHz: number(), centroidHz: number(), bandwidthHz: number(), highRiseDb: number(),
    timeEntropy: number(), attackDb: number(), flatness: number(), steadiness: number(), harmonicity: number(), ownedBins: number(),
    levelDb: array(trackCount), floorDb: array(trackCount), lagSec: array(trackCount), agreement: array(trackCount), agreementZ: array(trackCount), zeroLag: array(trackCount),
    tiltDb: array(trackCount), lostShare: array(trackCount), bands: array(SOUND_BANDS), voice: array(VOICE_NUMBERS),
  };
}
