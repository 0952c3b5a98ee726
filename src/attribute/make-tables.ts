import type { Candidate } from '../evidence/candidate.js';
import { log10 } from '../numeric/elementary.js';
import type { CallRow, SoundRow } from '../schema/rows.js';
import { formatUtc } from '../table/utc-time.js';
import { UNTAGGED, type Attribution, type AttributedCall } from './attribution.js';
import type { LeftoverEvent } from './group-leftovers.js';

export interface TableContext {
  birds: readonly string[];
  startUtc?: string;
  /** Seconds per frame and bins per unit of power: what turns sums over bins into mean power. */
  hopSec: number;
  fftSize: number;
  /** Noise power in the band on a track at a time, dB relative to full scale. */
  bandFloorDb: (track: number, tSec: number) => number;
}

/** Name of a caller in tables. */
export function nameCaller(birds: readonly string[], caller: number): string {
  return caller === UNTAGGED ? 'none' : birds[caller];
}

export function makeCallRows(candidates: readonly Candidate[], attribution: Attribution, context: TableContext): CallRow[] {
  const { calls } = attribution;
  return calls.map((call, n) => {
    const c = candidates[call.candidate];
    const levelDb = measureLevel(c, context);
    return {
      callId: n + 1, bird: nameCaller(context.birds, call.caller), onsetSec: call.onsetSec, offsetSec: call.offsetSec,
      onsetUtc: formatUtc(context.startUtc, call.onsetSec), probability: call.probability, track: context.birds[c.track],
      levelDb, snrDb: levelDb - context.bandFloorDb(c.track, c.onsetSec), peakHz: c.peakHz, overlaps: countOverlaps(calls, n),
      runnerUp: call.runnerUp === null ? '' : nameCaller(context.birds, call.runnerUp), runnerUpProbability: call.runnerUpProbability,
    };
  });
}

/** Mean power of a candidate over its duration, dB relative to full scale. */
function measureLevel(c: Candidate, context: TableContext): number {
  const frames = Math.max(1, (c.offsetSec - c.onsetSec) / context.hopSec);
  return c.levelDb[c.track] + 10 * log10(c.ownedBins / frames / (context.fftSize / 2));
}

function countOverlaps(calls: readonly AttributedCall[], n: number): number {
  let count = 0;
  for (let m = n - 1; m >= 0 && calls[m].onsetSec > calls[n].onsetSec - 10; m--) if (calls[m].offsetSec > calls[n].onsetSec) count++;
  for (let m = n + 1; m < calls.length && calls[m].onsetSec < calls[n].offsetSec; m++) count++;
  return count;
}

/** Stretches of one kind on one track are joined over shorter gaps. */
const JOIN_SEC = 0.15;

/**
 * What was heard and is no call of a known caller: lost links, body noise (leading by far on its wearer's track, broad in frequency, heard by nobody else),
 * breakthrough (a copy without delay of a call, far below it), sounds of the room (heard on several tracks, nobody's own), and what is probably a call
 * of one of several birds that cannot be told apart.
 */
export function makeSoundRows(
  candidates: readonly Candidate[], attribution: Attribution, lostRuns: readonly (readonly [number, number, number])[], context: TableContext,
): SoundRow[] {
  const rows: SoundRow[] = [];
  for (const [track, onsetSec, offsetSec] of lostRuns) rows.push({ kind: 'dropout', track: context.birds[track], onsetSec, offsetSec, levelDb: NaN, source: '' });
  for (const event of attribution.leftovers) {
    const unsure = findUnsure(candidates, attribution.ownProbability, event, context);
    if (unsure) rows.push(unsure);
    const kind = unsure ? null : classifyLeftover(candidates, event);
    if (!kind) continue;
    const c = candidates[event.lead];
    rows.push({ kind, track: context.birds[c.track], onsetSec: event.onsetSec, offsetSec: event.offsetSec, levelDb: measureLevel(c, context), source: '' });
  }
  for (const call of attribution.calls) rows.push(...findBreakthrough(candidates[call.candidate], call, context));
  return joinRows(rows);
}

/** From this sum of the probabilities of all wearers on a sound is probably a call of one of them. */
const PROBABLY = 0.5;

/** The two likeliest wearers of a sound that is probably a call, though of none for sure: each track's likeliest cut speaks for it. */
function findUnsure(candidates: readonly Candidate[], probability: ArrayLike<number>, event: LeftoverEvent, context: TableContext): SoundRow | null {
  const byTrack = new Map<number, number>();
  for (const n of event.members) {
    const { track, shared } = candidates[n], best = byTrack.get(track);
    if (!shared && (best === undefined || probability[n] > probability[best])) byTrack.set(track, n);
  }
  const cuts = [...byTrack.values()].sort((a, b) => probability[b] - probability[a] || a - b);
  if (cuts.length < 2 || !(cuts.reduce((sum, n) => sum + probability[n], 0) >= PROBABLY)) return null;
  const c = candidates[cuts[0]];
  return { kind: 'unsure', track: context.birds[c.track], onsetSec: c.onsetSec, offsetSec: c.offsetSec, levelDb: measureLevel(c, context), source: context.birds[candidates[cuts[1]].track] };
}

function classifyLeftover(candidates: readonly Candidate[], event: LeftoverEvent): SoundRow['kind'] | null {
  const c = candidates[event.lead];
  const heard = c.agreementZ.reduce((n, z, j) => n + (j !== c.track && z > 6 ? 1 : 0), 0);
  if (heard === 0 && c.leadDb > 8 && c.ownedShare > 0.6 && c.peakDb > 8) return 'body';
  if (heard >= 2 && c.peakDb > 10 && event.members.length >= 2) return 'room';
  return null;
}

function findBreakthrough(c: Candidate, call: AttributedCall, context: TableContext): SoundRow[] {
  // Only where the caller's own link was up does a copy without delay tell of another carrier.
  if (call.caller !== c.track) return [];
  const out: SoundRow[] = [];
  for (let j = 0; j < c.levelDb.length; j++) {
    if (j === c.track || c.zeroLag[j] < 0.5 || Math.abs(c.lagSec[j]) > 1.5e-5 || c.levelDb[j] < c.floorDb[j] + 3) continue;
    out.push({ kind: 'breakthrough', track: context.birds[j], onsetSec: c.onsetSec, offsetSec: c.offsetSec, levelDb: measureLevel(c, context) - (c.levelDb[c.track] - c.levelDb[j]), source: context.birds[c.track] });
  }
  return out;
}

function joinRows(rows: SoundRow[]): SoundRow[] {
  rows.sort((a, b) => compare(a.kind, b.kind) || compare(a.track, b.track) || compare(a.source, b.source) || a.onsetSec - b.onsetSec);
  const out: SoundRow[] = [];
  for (const r of rows) {
    const last = out[out.length - 1];
    if (last && r.kind !== 'unsure' && last.kind === r.kind && last.track === r.track && last.source === r.source && r.onsetSec - last.offsetSec < JOIN_SEC) {
      last.offsetSec = Math.max(last.offsetSec, r.offsetSec);
      if (!(last.levelDb >= r.levelDb)) last.levelDb = Number.isNaN(r.levelDb) ? last.levelDb : r.levelDb;
    } else out.push({ ...r });
  }
  return out.sort((a, b) => a.onsetSec - b.onsetSec || compare(a.track, b.track) || compare(a.kind, b.kind));
}

function compare(a: string, b: string): number {
  return a < b ? -1 : a > b ? 1 : 0;
}
