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

/** Sounds of the table that a track has for itself: of its wearer's body, broken through from another track, or perhaps a call of the wearer. In order of onset. */
export function takeSounds(rows: readonly SoundRow[], birds: readonly string[]): TrackSound[] {
  return rows.flatMap(({ kind, track, source, onsetSec, offsetSec }): TrackSound[] => {
    const own = { track: birds.indexOf(track), onsetSec, offsetSec };
    if (kind === 'body') return [own];
    if (kind === 'breakthrough') return [{ ...own, source: birds.indexOf(source) }];
    return kind === 'unsure' ? [own, { ...own, track: birds.indexOf(source) }] : [];
  }).filter((s) => s.track >= 0)
    .sort((a, b) => a.onsetSec - b.onsetSec || a.track - b.track);
}
