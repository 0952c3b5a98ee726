/** What the fits of gains and clocks can use: loud calls that own most of their track's sound. */
import type { Candidate } from './candidate.js';
import type { Segment } from './segments.js';

const LEAST_PEAK_DB = 12;
const LEAST_SHARE = 0.6;
const MOST_ENTROPY = 0.9;

/** Whether the candidate of a segment may turn out to be telling; `ownedShare` as far as it is known. */
export function mayBeTelling(segment: Pick<Segment, 'peakDb' | 'shared'>, ownedShare = 1): boolean {
  return !segment.shared && segment.peakDb >= LEAST_PEAK_DB && ownedShare >= LEAST_SHARE;
}

export function isTelling(c: Candidate): boolean {
  return !c.shared && c.peakDb >= LEAST_PEAK_DB && c.ownedShare >= LEAST_SHARE && c.entropy <= MOST_ENTROPY;
}
