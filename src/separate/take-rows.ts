import type { CallRow, SoundRow } from '../schema/rows.js';
import type { TrackSound } from './guard-wearer.js';
import type { SeparationCall } from './plan-pieces.js';

/** Calls of a call table as separation takes them; `birds` are the wearers of the tracks in order. */
export function takeCalls(rows: readonly CallRow[], birds: readonly string[]): SeparationCall[] {
  return rows.map((c) => ({
    id: c.callId, track: birds.indexOf(c.bird), onsetSec: c.onsetSec, offsetSec: c.offsetSec, probability: c.probability,
    rivalTrack: birds.indexOf(c.runnerUp), rivalProbability: c.runnerUpProbability,
  }));
}

/** Sounds of the table that a track has for itself: of its wearer's body, or broken through from another track. In order of onset. */
export function takeSounds(rows: readonly SoundRow[], birds: readonly string[]): TrackSound[] {
  return rows.filter((s) => (s.kind === 'body' || s.kind === 'breakthrough') && birds.includes(s.track))
    .map((s) => ({ track: birds.indexOf(s.track), ...(s.kind === 'breakthrough' ? { source: birds.indexOf(s.source) } : {}), onsetSec: s.onsetSec, offsetSec: s.offsetSec }))
    .sort((a, b) => a.onsetSec - b.onsetSec || a.track - b.track);
}
