import type { SeparationSettings } from './settings.js';

/** A call as separation needs it; times on the reference clock. */
export interface SeparationCall {
  id: number;
  /** Track of the caller, -1 for one without a tag or without a usable track. */
  track: number;
  onsetSec: number;
  offsetSec: number;
  probability: number;
  /** Track of the caller that comes second, if any, and its probability. */
  rivalTrack?: number;
  rivalProbability?: number;
}

/** A stretch of one track in which another bird is heard. */
export interface Piece {
  track: number;
  startSec: number;
  endSec: number;
  /** Own call inside which other voices are removed; undefined where the wearer is silent. */
  own?: SeparationCall;
}

/** Longest piece, seconds: longer ones are cut. */
export const LONGEST_PIECE_SEC = 4;
/** Sound counts from a little before its onset on, seconds. */
const LEAD_SEC = 0.01;

/**
 * Where each track has to be worked on: while another bird with a tag calls and until the room is quiet again. The rest is left as it is.
 * @param calls in order of onset
 */
export function planPieces(calls: readonly SeparationCall[], trackCount: number, settings: SeparationSettings): Piece[] {
  const pieces: Piece[] = [];
  const heard = calls.filter((c) => c.track >= 0 && c.probability >= settings.leastProbability);
  for (let track = 0; track < trackCount; track++) {
    const own = calls.filter((c) => c.track === track && c.probability >= settings.leastProbability / 3);
    let o = 0;
    for (const [startSec, endSec] of joinSpans(heard.filter((c) => c.track !== track).map((c) => [c.onsetSec - LEAD_SEC, c.offsetSec + settings.roomTailSec]))) {
      while (o < own.length && own[o].offsetSec + settings.ownTailSec <= startSec) o++;
      let t = Math.max(0, startSec);
      for (let n = o; n < own.length && own[n].onsetSec - LEAD_SEC < endSec; n++) {
        const from = Math.max(t, own[n].onsetSec - LEAD_SEC), next = own[n + 1]?.onsetSec ?? Infinity;
        const to = Math.min(endSec, own[n].offsetSec + settings.ownTailSec, next - LEAD_SEC);
        if (to <= from) continue;
        addPieces(pieces, { track, startSec: t, endSec: from });
        addPieces(pieces, { track, startSec: from, endSec: to, own: own[n] });
        t = to;
      }
      addPieces(pieces, { track, startSec: t, endSec });
    }
  }
  return pieces.sort((a, b) => a.startSec - b.startSec || a.track - b.track);
}

function addPieces(pieces: Piece[], piece: Piece): void {
  const count = Math.ceil((piece.endSec - piece.startSec) / LONGEST_PIECE_SEC);
  const step = (piece.endSec - piece.startSec) / count;
  for (let n = 0; n < count; n++) pieces.push({ ...piece, startSec: piece.startSec + n * step, endSec: piece.startSec + (n + 1) * step });
}

/** Joins spans that touch; in order of start, half-open. */
export function joinSpans(spans: readonly (readonly [number, number])[]): [number, number][] {
  const out: [number, number][] = [];
  for (const [start, end] of [...spans].sort((a, b) => a[0] - b[0])) {
    const last = out[out.length - 1];
    if (last && start <= last[1]) last[1] = Math.max(last[1], end);
    else out.push([start, end]);
  }
  return out;
}
