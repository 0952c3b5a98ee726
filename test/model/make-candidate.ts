import type { Candidate } from '../../src/evidence/candidate.js';
import { makeVoicePattern } from '../../src/evidence/voice-pattern.js';

export const NO_VOICE = makeVoicePattern(new Float64Array(8), [0, 8]);

/** A plain call of a track among `trackCount`, with whatever should differ. */
export function makeCandidate(trackCount: number, part: Partial<Candidate> & { track: number; onsetSec: number }): Candidate {
  const fill = (v = 0): Float64Array => new Float64Array(trackCount).fill(v);
  return {
    offsetSec: part.onsetSec + 0.1, peakDb: 30, overPedestal: 0, shared: 0, core: 0, twin: 0, elements: 1, unevenness: 0, gapSec: 0, levelDb: fill(-60), floorDb: fill(-80), lagSec: fill(0.001), agreement: fill(0.5), agreementZ: fill(20),
    zeroLag: fill(), tiltDb: fill(), ownedShare: 0.95, leadDb: 12, lostShare: fill(), entropy: 0.6, crestDb: 12, peakHz: 3000, centroidHz: 3000, bandwidthHz: 1500, highRiseDb: 0,
    timeEntropy: 0.9, attackDb: 6, flatness: 0.2, steadiness: 0.6, ownedBins: 200, bands: new Float64Array(16).fill(0.25), voice: NO_VOICE, harmonicity: 0.5,
    heldTones: 0.5, fadeDb: 0, startLikeness: 0.7, startDb: -1, beforeLikeness: 0.6, beforeDb: -20, ...part,
  };
}
