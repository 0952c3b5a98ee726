/**
 * Candidates as rows of numbers in one array: what crosses between threads, is kept while a study is worked on and is saved. An object with nine
 * arrays of its own costs several times its content, and a busy hour has tens of thousands of them.
 */
import type { Candidate } from './candidate.js';
import { SOUND_BANDS } from './describe-sound.js';
import { VOICE_NUMBERS } from './voice-pattern.js';

/** Numbers of a row before its arrays, and arrays by track. */
const NUMBERS = 31;
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
    c.heldTones, c.fadeDb, c.startLikeness, c.startDb, c.beforeLikeness, c.beforeDb,
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
  const at = start + NUMBERS, bands = at + TRACK_ARRAYS * trackCount, voice = bands + SOUND_BANDS;
  // Written out, so that all candidates are objects of one shape; place by place, for a counter in closures is several times as much for the engine to compile.
  return {
    track: rows[start], onsetSec: rows[start + 1], offsetSec: rows[start + 2], peakDb: rows[start + 3], overPedestal: rows[start + 4], shared: rows[start + 5],
    core: rows[start + 6], twin: rows[start + 7], elements: rows[start + 8], unevenness: rows[start + 9], gapSec: rows[start + 10], ownedShare: rows[start + 11],
    leadDb: rows[start + 12], entropy: rows[start + 13], crestDb: rows[start + 14], peakHz: rows[start + 15], centroidHz: rows[start + 16], bandwidthHz: rows[start + 17],
    highRiseDb: rows[start + 18], timeEntropy: rows[start + 19], attackDb: rows[start + 20], flatness: rows[start + 21], steadiness: rows[start + 22],
    harmonicity: rows[start + 23], ownedBins: rows[start + 24],
    heldTones: rows[start + 25], fadeDb: rows[start + 26], startLikeness: rows[start + 27], startDb: rows[start + 28], beforeLikeness: rows[start + 29],
    beforeDb: rows[start + 30],
    levelDb: rows.subarray(at, at + trackCount), floorDb: rows.subarray(at + trackCount, at + 2 * trackCount),
    lagSec: rows.subarray(at + 2 * trackCount, at + 3 * trackCount), agreement: rows.subarray(at + 3 * trackCount, at + 4 * trackCount),
    agreementZ: rows.subarray(at + 4 * trackCount, at + 5 * trackCount), zeroLag: rows.subarray(at + 5 * trackCount, at + 6 * trackCount),
    tiltDb: rows.subarray(at + 6 * trackCount, at + 7 * trackCount), lostShare: rows.subarray(at + 7 * trackCount, at + 8 * trackCount),
    bands: rows.subarray(bands, voice), voice: rows.subarray(voice, voice + VOICE_NUMBERS),
  };
}
