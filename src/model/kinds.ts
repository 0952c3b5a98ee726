import type { Candidate } from '../evidence/candidate.js';
import { log2 } from '../numeric/elementary.js';
import { multiplySpectra } from './spectra-likeness.js';

/** What sounds of one kind have in common: length and pitch in octaves, shares of entropy, of even energy and of flatness, and the spectrum in bands. */
export interface Kind { length: number; pitch: number; entropy: number; evenness: number; flatness: number; bands: Float64Array }

/** Differences that count as one: octaves of length and of pitch, shares, and of the spectrum's likeness. */
const LENGTH_OCT = 0.4;
const PITCH_OCT = 0.3;
const ENTROPY = 0.08;
const EVENNESS = 0.06;
const FLATNESS = 0.08;
const LIKENESS = 0.15;

export function describeKind(c: Candidate): Kind {
  return {
    length: log2(Math.max(1e-3, c.offsetSec - c.onsetSec)), pitch: log2(Math.max(1, c.centroidHz)), entropy: c.entropy, evenness: c.timeEntropy, flatness: c.flatness, bands: c.bands,
  };
}

/** How unlike two sounds are: root of the sum of squares; from `most` on, `most`. @param withFlatness whether noise is told from tones, too */
export function compareKinds(a: Kind, b: Kind, most: number, withFlatness = false): number {
  let square = ((a.length - b.length) / LENGTH_OCT) ** 2 + ((a.pitch - b.pitch) / PITCH_OCT) ** 2 + ((a.entropy - b.entropy) / ENTROPY) ** 2 + ((a.evenness - b.evenness) / EVENNESS) ** 2;
  if (withFlatness) square += ((a.flatness - b.flatness) / FLATNESS) ** 2;
  if (square >= most * most) return most;
  square += ((1 - multiplySpectra(a.bands, b.bands)) / LIKENESS) ** 2;
  return Math.min(most, Math.sqrt(square));
}
