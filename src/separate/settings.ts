import { log2 } from '../numeric/elementary.js';

/** Everything that separation may be told. Times in seconds unless named otherwise. */
export interface SeparationSettings {
  sampleRateHz: number;
  /** Window of the spectra, a power of two near 21 ms; the hop is a quarter of it. */
  fftSize: number;
  hopFrames: number;
  binCount: number;
  /** Frames that a path from one track to another spans, and how many of them lie ahead of the present frame. */
  tapCount: number;
  leadTaps: number;
  /** Rounds of the joint estimate. */
  rounds: number;
  /** Share of independent observations among overlapping windows. */
  independence: number;
  /** Power of what a band-wise filter cannot model, as a share of the predicted crosstalk. */
  modelError: number;
  /** Weight of the uncertainty of the other voices, as they arrive through their paths, in what is left of them. */
  referenceDoubt: number;
  /** How many times what predicted crosstalk leaves behind is set against its power: with paths known from solo calls, and with one unknown. */
  removalDoubt: number;
  blindDoubt: number;
  /** Most that levels may lie above a low quantile of what is heard. */
  tameFactor: number;
  /** Decay of the expected path power over its taps, seconds per e-fold of the amplitude squared. */
  pathDecaySec: number;
  /** Solo calls on either side of a call that a path may be learned from, and how far away they may be. */
  soloCount: number;
  soloReachSec: number;
  /** A call is solo when no other call comes closer than this. */
  soloGapSec: number;
  /** How long the sound of a call is taken to go on after its end: in the room, and on the caller's own track. */
  roomTailSec: number;
  ownTailSec: number;
  /** How long before its onset a call may begin, and how long after its end it may last, where voices are estimated. */
  voiceLeadSec: number;
  voiceTailSec: number;
  /** How long before the onset of a doubtful call its sound is kept where the wearer may be the caller. */
  guardLeadSec: number;
  /** Least gain of a bin inside processed stretches, amplitude. */
  leastGain: number;
  /** Whether the noise floor is kept under the voice where other voices are removed. */
  keepNoise: boolean;
  /** Rows below this probability are not taken for another bird's call; a bird's own calls are protected from a third of it on. */
  leastProbability: number;
  /** Rows below this one are not removed from an own call, where a wrong row costs more than a right one gains. */
  voiceProbability: number;
}

/** Settings for a sample rate; the values were chosen on simulated scenes, common practice elsewhere. */
export function chooseSeparationSettings(sampleRateHz: number, changes: Partial<SeparationSettings> = {}): SeparationSettings {
  const fftSize = 2 ** Math.min(13, Math.max(6, Math.round(log2(0.0215 * sampleRateHz))));
  return {
    sampleRateHz, fftSize, hopFrames: fftSize / 4, binCount: fftSize / 2 + 1,
    tapCount: 12, leadTaps: 1, rounds: 2, independence: 0.4, modelError: 0.015, referenceDoubt: 0.3, removalDoubt: 2, blindDoubt: 8, tameFactor: 3, pathDecaySec: 0.035,
    soloCount: 4, soloReachSec: 60, soloGapSec: 0.03, roomTailSec: 0.15, ownTailSec: 0.06, voiceLeadSec: 0, voiceTailSec: 0.06, guardLeadSec: 0.01,
    leastGain: 0.01, keepNoise: false, leastProbability: 0.5, voiceProbability: 0.75,
    ...changes,
  };
}
