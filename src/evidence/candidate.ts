import type { SoundParts } from './sound-parts.js';

/**
 * What was measured about one stretch of sound owned by one track: the evidence for deciding who made it. Arrays have one entry per track;
 * the energies are sums over the time-frequency bins that the candidate owns.
 */
export interface Candidate extends SoundParts {
  track: number;
  /** Onset and offset on the reference clock, seconds since the study's start. */
  onsetSec: number;
  offsetSec: number;
  /** Largest owned level over the floor of the band, dB. */
  peakDb: number;
  /** 1 when cut above the broadband pedestal of body noise, else 0. */
  overPedestal: number;
  /** 1 when cut on sound that no track leads clearly: never a call of the track's wearer. */
  shared: number;
  /** 1 when only the loudest part of a longer stretch was cut. */
  core: number;
  /** 1 when the same sound was measured once more for a track that hears it nearly as loud (see twins.ts), else 0. */
  twin: number;
  /** Number of elements joined into this candidate; 1 for a single stretch. */
  elements: number;
  /** How unlike its elements are in length, interval and level, octaves (see segments.ts), and the mean gap between them, seconds; 0 of a single stretch. */
  unevenness: number;
  gapSec: number;
  /** Mean energy above the floor on every track, per owned bin, dB. */
  levelDb: Float64Array;
  /** Mean noise floor on every track over the same bins, dB. */
  floorDb: Float64Array;
  /** Lag of every track after the candidate's own track, seconds (positive = later). */
  lagSec: Float64Array;
  /** Height of the phase correlation at that lag, 0..1. */
  agreement: Float64Array;
  /** The same height in standard deviations of what unrelated noise gives. */
  agreementZ: Float64Array;
  /** Height of the phase correlation at lag zero, 0..1. */
  zeroLag: Float64Array;
  /** Low-band over high-band level of every track over the same bins, dB (0 where the track hears nothing). */
  tiltDb: Float64Array;
  /** Share of the own track's energy in this stretch that the candidate owns. */
  ownedShare: number;
  /** Energy-weighted mean lead over the second track, dB. */
  leadDb: number;
  /** Share of frames in which the link of each track is lost. */
  lostShare: Float64Array;
  entropy: number;
  /** Largest bin over the mean of the spectrum, dB. */
  crestDb: number;
  peakHz: number;
  centroidHz: number;
  bandwidthHz: number;
  /** Mean rise over the floor above the call band (or in its top fifth), dB. */
  highRiseDb: number;
  /** Evenness in time of the owned energy, 0..1. */
  timeEntropy: number;
  /** Rise over the first frames, dB. */
  attackDb: number;
  /** Mean spectral flatness of single frames, 0..1. */
  flatness: number;
  /** Largest normalised correlation of successive spectra: steady tones near 1, noise lower. */
  steadiness: number;
  /** Root of the share of energy in bands (see describe-sound.ts). */
  bands: Float64Array;
  /** Packed pattern of the voice (see voice-pattern.ts). */
  voice: Float64Array;
  /** Self-similarity of the spectrum under a shift, 0..1. */
  harmonicity: number;
  /** Number of owned bins. */
  ownedBins: number;
}
