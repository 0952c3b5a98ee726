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
  /** The lag against the alignment it was measured with, ms: wrong peaks crowd near zero. */
  nearMs: Float64Array;
}

/** Candidates with the clock that they were extracted with: their lags are relative to it. */
export interface ClockLook { candidates: readonly Candidate[]; clock: ClockModel }

/** A call that is worth to be measured over a wide reach. */
export interface ChosenCall { track: number; onsetSec: number; offsetSec: number }

/** Where a call of one track may have arrived on a track of another recorder: lag between the files, lag against the alignment, height in standard deviations. */
export interface CallArrival { tSec: number; from: number; to: number; lagSec: number; nearSec: number; height: number }

const LEAST_AGREEMENT_Z = 6;
const LEAST_LEAD_DB = 5;
/** Peak height 10 over noise at 2 kHz of bandwidth leaves 8 microseconds (delay bound of Knapp and Carter 1976: 1 / (2 pi B z)). */
const SIGMA_MS_AT_Z1 = 0.08;
const LEAST_SIGMA_MS = 0.003;

/** Readings of one pair this close in time and lag are the same sound, cut or looked at twice. */
const SAME_SOUND_SEC = 0.05;
const SAME_LAG_MS = 0.03;

/** Collects the readings of all pairs of tracks, within recorders and between them, in order of time; what several looks found alike counts once. */
export function collectReadings(looks: readonly ClockLook[], recorderOfTrack: readonly number[], arrivals: readonly CallArrival[] = []): LagReadings {
  const rows: Row[] = [];
  for (const { candidates, clock } of looks) {
    for (const c of candidates) {
      if (!isClearOwn(c, recorderOfTrack)) continue;
      const offsets = clock.map((r) => readOffset(r, c.onsetSec));
      for (let j = 0; j < c.lagSec.length; j++) {
        if (j === c.track || !(c.agreementZ[j] >= LEAST_AGREEMENT_Z)) continue;
        const fileLag = c.lagSec[j] + offsets[recorderOfTrack[j]] - offsets[recorderOfTrack[c.track]];
        rows.push([c.onsetSec, c.track, j, fileLag * 1e3, Math.max(LEAST_SIGMA_MS, SIGMA_MS_AT_Z1 / c.agreementZ[j]), c.lagSec[j] * 1e3]);
      }
    }
  }
  for (const a of arrivals) rows.push([a.tSec, a.from, a.to, a.lagSec * 1e3, Math.max(LEAST_SIGMA_MS, SIGMA_MS_AT_Z1 / a.height), a.nearSec * 1e3]);
  rows.sort((a, b) => a[0] - b[0] || a[1] - b[1] || a[2] - b[2] || a[3] - b[3]);
  const kept = joinSame(rows);
  const column = (k: number): Float64Array => Float64Array.from(kept, (r) => r[k]);
  return {
    count: kept.length, tSec: column(0), from: Uint16Array.from(kept, (r) => r[1]), to: Uint16Array.from(kept, (r) => r[2]), lagMs: column(3), sigmaMs: column(4), nearMs: column(5),
  };
}

/** Time, from, to, lag, sigma, near. */
type Row = [number, number, number, number, number, number];

/** Of readings that are one and the same the clearest stays; seen from several alignments, a lag that stays where it is cannot come from the alignment. */
function joinSame(rows: readonly Row[]): Row[] {
  const out: Row[] = [];
  const recent = new Map<number, Row[]>();
  for (const row of rows) {
    const key = row[1] * 65536 + row[2];
    const near = (recent.get(key) ?? []).filter((r) => row[0] - r[0] < SAME_SOUND_SEC);
    const same = near.find((r) => Math.abs(r[3] - row[3]) < SAME_LAG_MS);
    if (same) {
      if (row[4] < same[4]) { same[3] = row[3]; same[4] = row[4]; }
      if (Math.abs(row[5]) > Math.abs(same[5])) same[5] = row[5];
    } else {
      near.push(row);
      out.push(row);
    }
    recent.set(key, near);
  }
  return out;
}

/** Calls whose arrivals are worth to be measured: clear ones, of several cuts of a sound the largest, evenly in time where there are too many. */
export function chooseCalls(candidates: readonly Candidate[], recorderOfTrack: readonly number[], most: number): ChosenCall[] {
  const clear = candidates.filter((c) => isClearOwn(c, recorderOfTrack)).sort((a, b) => b.ownedBins - a.ownedBins || a.onsetSec - b.onsetSec || a.track - b.track);
  const taken = new Map<string, ChosenCall[]>();
  for (const { track, onsetSec, offsetSec } of clear) {
    const keys = [-1, 0, 1].map((d) => `${track} ${Math.floor(onsetSec / CALL_CELL_SEC) + d}`);
    if (keys.some((k) => taken.get(k)?.some((o) => o.onsetSec < offsetSec && onsetSec < o.offsetSec))) continue;
    const list = taken.get(keys[1]);
    if (list) list.push({ track, onsetSec, offsetSec }); else taken.set(keys[1], [{ track, onsetSec, offsetSec }]);
  }
  const all = [...taken.values()].flat().sort((a, b) => a.onsetSec - b.onsetSec || a.track - b.track);
  return all.length <= most ? all : all.filter((_, k) => Math.floor((k * most) / all.length) !== Math.floor(((k - 1) * most) / all.length));
}

/** Longer than any call. */
const CALL_CELL_SEC = 5;

function isClearOwn(c: Candidate, recorderOfTrack: readonly number[]): boolean {
  if (c.shared || c.ownedShare < 0.6 || c.peakDb < 12 || c.leadDb < LEAST_LEAD_DB || c.lostShare[c.track] > 0 || c.entropy > 0.9) return false;
  for (let j = 0; j < c.lagSec.length; j++) {
    if (j === c.track || c.agreementZ[j] < 7 || recorderOfTrack[j] !== recorderOfTrack[c.track]) continue;
    if (c.lagSec[j] < 0) return false;
  }
  return true;
}

/** The readings that pass a test. */
export function keepReadings(r: LagReadings, keep: (m: number) => boolean): LagReadings {
  const kept = new Uint32Array(r.count);
  let count = 0;
  for (let m = 0; m < r.count; m++) if (keep(m)) kept[count++] = m;
  const out: LagReadings = { count, tSec: new Float64Array(count), from: new Uint16Array(count), to: new Uint16Array(count), lagMs: new Float64Array(count), sigmaMs: new Float64Array(count), nearMs: new Float64Array(count) };
  for (let n = 0; n < count; n++) {
    const m = kept[n];
    out.tSec[n] = r.tSec[m];
    out.from[n] = r.from[m];
    out.to[n] = r.to[m];
    out.lagMs[n] = r.lagMs[m];
    out.sigmaMs[n] = r.sigmaMs[m];
    out.nearMs[n] = r.nearMs[m];
  }
  return out;
}

/**
 * Leaves out readings of long studies until about `most` are left, the least useful first: pairs within one recorder in four of five cells of
 * time, pairs heard one way only in a cell, all but four of a pair and direction, then whole cells, evenly. Cells stay whole because the
 * exchanges live within them.
 */
export function thinReadings(r: LagReadings, recorderOfTrack: readonly number[], cellSec: number, most: number): LagReadings {
  const cellOf = (of: LagReadings, m: number): number => Math.floor(of.tSec[m] / cellSec);
  let left = r;
  if (left.count > most) left = keepReadings(r, (m) => cellOf(r, m) % 5 === 0 || recorderOfTrack[r.from[m]] !== recorderOfTrack[r.to[m]]);
  if (left.count > most) left = dropLonely(left, cellOf);
  if (left.count <= most) return left;
  const seen = new Map<number, number>();
  let cell = -1;
  const few = keepReadings(left, (m) => {
    if (cellOf(left, m) !== cell) { seen.clear(); cell = cellOf(left, m); }
    const key = left.from[m] * 65536 + left.to[m];
    const n = (seen.get(key) ?? 0) + 1;
    seen.set(key, n);
    return n <= 4;
  });
  const every = Math.ceil(few.count / most);
  return every === 1 ? few : keepReadings(few, (m) => cellOf(few, m) % every === 0);
}

/** Without readings whose pair is heard one way only in their cell; all of them where no exchange is left. */
function dropLonely(r: LagReadings, cellOf: (of: LagReadings, m: number) => number): LagReadings {
  const directed = new Set<number>();
  const key = (m: number, from: number, to: number): number => (cellOf(r, m) * 1024 + from) * 1024 + to;
  for (let m = 0; m < r.count; m++) directed.add(key(m, r.from[m], r.to[m]));
  const mutual = keepReadings(r, (m) => directed.has(key(m, r.to[m], r.from[m])));
  return mutual.count > 0 ? mutual : r;
}
