/**
 * Candidates as rows of numbers in one array: what crosses between threads, is kept while a study is worked on and is saved. An object with nine
 * arrays of its own costs several times its content, and a busy hour has tens of thousands of them.
 */
import type { Candidate } from './candidate.js';
import { SOUND_BANDS } from './describe-sound.js';
import { VOICE_NUMBERS } from './voice-pattern.js';

/** Numbers of a row before its arrays, and arrays by track. */
const NUMBERS = 25;
const TRACK_ARRAYS = 8;

/** Numbers in a row. */
export function countRowNumbers(trackCount: number): number {
  return NUMBERS + TRACK_ARRAYS * trackCount + SOUND_BANDS + VOICE_NUMBERS;
}

/** @returns [candidate][number] in memory of its own */
export function packCandidates(candidates: readonly Candidate[], trackCount: number): Float64Array<ArrayBuffer> {
  const width = countRowNumbers(trackCount);
  const rows = new Float64Array(candidates.length * width);
  for (let n = 0; n < candidates.length; n++) writeRow(rows, n * width, candidates[n]);
  return rows;
}

/** In the order of `readRow`; field by field, for names that are looked up cost more than all else here. */
function writeRow(rows: Float64Array, start: number, c: Candidate): void {
  const numbers = [
    c.track, c.onsetSec, c.offsetSec, c.peakDb, c.overPedestal, c.shared, c.core, c.twin, c.elements, c.unevenness, c.gapSec, c.ownedShare, c.leadDb, c.entropy, c.crestDb,
    c.peakHz, c.centroidHz, c.bandwidthHz, c.highRiseDb, c.timeEntropy, c.attackDb, c.flatness, c.steadiness, c.harmonicity, c.ownedBins,
  ];
  for (let n = 0; n < NUMBERS; n++) rows[start + n] = numbers[n];
  let at = start + NUMBERS;
  at = writeArray(rows, at, c.levelDb);
  at = writeArray(rows, at, c.floorDb);
  at = writeArray(rows, at, c.lagSec);
  at = writeArray(rows, at, c.agreement);
  at = writeArray(rows, at, c.agreementZ);
  at = writeArray(rows, at, c.zeroLag);
  at = writeArray(rows, at, c.tiltDb);
  at = writeArray(rows, at, c.lostShare);
  at = writeArray(rows, at, c.bands);
  writeArray(rows, at, c.voice);
}

function writeArray(rows: Float64Array, start: number, values: Float64Array): number {
  for (let k = 0; k < values.length; k++) rows[start + k] = values[k];
  return start + values.length;
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
