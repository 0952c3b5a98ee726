import type { Candidate } from '../evidence/candidate.js';
import { readOffset, type ClockModel } from './clock.js';

/**
 * Lags of clear calls between tracks, one entry per reading and column. Lags are those of the files themselves: the alignment that the
 * extraction used is taken back, so that a reading holds distance, clock offset and delay of both receivers.
 */
export interface LagReadings {
  count: number;
  tSec: Float64Array;
  /** Track of the caller and track that hears it. */
  from: Uint16Array;
  to: Uint16Array;
  lagMs: Float64Array;
  /** Standard deviation of the reading alone, ms. */
  sigmaMs: Float64Array;
}

const LEAST_AGREEMENT_Z = 6;
const LEAST_LEAD_DB = 5;
/** Peak height 10 over noise at 2 kHz of bandwidth leaves 8 microseconds (delay bound of Knapp and Carter 1976: 1 / (2 pi B z)). */
const SIGMA_MS_AT_Z1 = 0.08;
const LEAST_SIGMA_MS = 0.003;

/** Collects the readings of all pairs of tracks, within recorders and between them, in order of time. */
export function collectReadings(candidates: readonly Candidate[], recorderOfTrack: readonly number[], clock: ClockModel): LagReadings {
  const rows: [number, number, number, number, number][] = [];
  for (const c of candidates) {
    if (!isClearOwn(c, recorderOfTrack)) continue;
    const offsets = clock.map((r) => readOffset(r, c.onsetSec));
    for (let j = 0; j < c.lagSec.length; j++) {
      if (j === c.track || !(c.agreementZ[j] >= LEAST_AGREEMENT_Z)) continue;
      const fileLag = c.lagSec[j] + offsets[recorderOfTrack[j]] - offsets[recorderOfTrack[c.track]];
      rows.push([c.onsetSec, c.track, j, fileLag * 1e3, Math.max(LEAST_SIGMA_MS, SIGMA_MS_AT_Z1 / c.agreementZ[j])]);
    }
  }
  rows.sort((a, b) => a[0] - b[0] || a[1] - b[1] || a[2] - b[2]);
  const column = (k: number): Float64Array => Float64Array.from(rows, (r) => r[k]);
  return { count: rows.length, tSec: column(0), from: Uint16Array.from(rows, (r) => r[1]), to: Uint16Array.from(rows, (r) => r[2]), lagMs: column(3), sigmaMs: column(4) };
}

function isClearOwn(c: Candidate, recorderOfTrack: readonly number[]): boolean {
  if (c.shared || c.ownedShare < 0.6 || c.peakDb < 12 || c.leadDb < LEAST_LEAD_DB || c.lostShare[c.track] > 0 || c.entropy > 0.9) return false;
  for (let j = 0; j < c.lagSec.length; j++) {
    if (j === c.track || c.agreementZ[j] < 7 || recorderOfTrack[j] !== recorderOfTrack[c.track]) continue;
    if (c.lagSec[j] < 0) return false;
  }
  return true;
}
