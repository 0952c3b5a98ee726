/** What the fits of gains and clocks can use: loud calls that own most of their track's sound. */
import type { Candidate } from './candidate.js';
import type { Segment } from './segments.js';

const LEAST_PEAK_DB = 12;
const LEAST_SHARE = 0.6;
const MOST_ENTROPY = 0.9;

/** Whether the candidate of a segment, or a twin of it on another track, may turn out to be telling. Shared sound has twins that are. */
export function mayBeTelling(segment: Pick<Segment, 'peakDb'>): boolean {
  return segment.peakDb >= LEAST_PEAK_DB;
}

export function isTelling(c: Candidate): boolean {
  return !c.shared && c.peakDb >= LEAST_PEAK_DB && c.ownedShare >= LEAST_SHARE && c.entropy <= MOST_ENTROPY;
}
