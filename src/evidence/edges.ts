import type { HighPass } from '../kernels/step-energies.js';
import { cosTurn, pow10, sinTurn } from '../numeric/elementary.js';
import { Envelopes } from './envelopes.js';
import type { StretchContext } from './measure-candidate.js';
import type { Segment } from './segments.js';

export interface Edges { onsetSec: number; offsetSec: number }

const SMOOTH_SEC = 0.003;
/** The high-pass starts this much before what is asked for. */
const WARM_SEC = 0.01;
const ONSET_BELOW_DB = 27;
const OFFSET_BELOW_DB = 17;
/** A voice stops within about two milliseconds once it is 17 dB down; the room goes on. Found on simulated rooms. */
const OFFSET_AFTER_SEC = 0.002;
/** The first samples of a voice lie below the threshold for a third of a millisecond. Found on simulated rooms. */
const ONSET_AFTER_SEC = 0.0003;
/** Edges of a core, whose surroundings are loud: this far below the peak. */
const CORE_BELOW_DB = 13;
const LEAST_OVER_NOISE_DB = 7;
/** Envelopes are read at this rate and between it by straight lines. */
const STEPS_PER_SEC = 6000;
/** What is looked at around a segment. */
const PAD_SEC = 0.025;

/**
 * Onset and offset of a segment, seconds from the stretch's start. Where the track owns nearly all sound: crossings of the band-passed
 * envelope (3 ms) 27 dB below the peak at the start and 17 dB below at the end, both at least 7 dB over the noise. Else, and without kernels:
 * crossings of the owned level.
 */
export function refineEdges(c: StretchContext, segment: Segment, ownedShare: number): Edges {
  const { settings } = c;
  const fs = settings.sampleRateHz;
  const coarse = crossOwnedLevel(c, segment, settings.hopFrames / fs);
  const { kernels } = c.spectra;
  if (!kernels || ownedShare < 0.85 || segment.overPedestal || segment.shared) return coarse;
  const steps = kernels.getSteps(designHighPass(settings.bandHz[0], fs), Math.round(fs / STEPS_PER_SEC), Math.round(WARM_SEC * fs));
  const { stepFrames } = steps;
  const from = Math.round((segment.startFrame * settings.hopFrames) / stepFrames), to = Math.round((segment.endFrame * settings.hopFrames) / stepFrames);
  const pad = Math.round((PAD_SEC * fs) / stepFrames);
  const voice = new Envelopes(c, steps, segment.track, Math.max(0, from - pad), Math.min(steps.stepCount, to + pad), Math.round((SMOOTH_SEC * fs) / stepFrames));
  const { own, first } = voice;
  let peak = 0;
  let at = from;
  for (let k = from; k < Math.min(to, first + own.length); k++) if (own[k - first] > peak) { peak = own[k - first]; at = k; }
  const least = voice.ownNoise * pow10(LEAST_OVER_NOISE_DB / 10);
  const low = Math.max(peak * pow10(-ONSET_BELOW_DB / 10), least);
  const high = Math.max(peak * pow10(-OFFSET_BELOW_DB / 10), least);
  if (!(peak > low)) return coarse;
  const hold = Math.round(((segment.elements > 1 ? 0.065 : 0.012) * fs) / stepFrames);
  const onset = (voice.findOnset(at, low, hold) * stepFrames) / fs - ONSET_AFTER_SEC;
  const offset = (voice.findOffset(at, high, hold) * stepFrames) / fs + OFFSET_AFTER_SEC;
  // A correction beyond the resolution of the frames means that another sound was followed.
  return {
    onsetSec: Math.abs(onset - coarse.onsetSec) < 0.02 ? onset : coarse.onsetSec,
    offsetSec: offset - coarse.offsetSec < 0.03 && offset > onset ? offset : coarse.offsetSec,
  };
}

/** Second-order Butterworth high-pass by the bilinear transform (Oppenheim and Schafer 7.1). */
function designHighPass(lowHz: number, fs: number): HighPass {
  const k = sinTurn(lowHz / (2 * fs)) / cosTurn(lowHz / (2 * fs));
  const b = 1 / (1 + Math.SQRT2 * k + k * k);
  return { b, a1: 2 * (k * k - 1) * b, a2: (1 - Math.SQRT2 * k + k * k) * b };
}

function crossOwnedLevel(c: StretchContext, segment: Segment, hopSec: number): Edges {
  const level = segment.shared ? c.sharedLevel : (segment.overPedestal ? c.tonalLevels : c.levels)[segment.track];
  const low = Math.max(3, segment.peakDb - (segment.core ? CORE_BELOW_DB : OFFSET_BELOW_DB));
  const interpolate = (inside: number, outside: number): number => {
    const a = level[inside];
    const b = level[outside] ?? -30;
    return a > low && b < low ? inside + ((a - low) / (a - b)) * (outside - inside) : inside;
  };
  let first = segment.startFrame;
  while (first < segment.peakFrame && level[first] < low) first++;
  let last = segment.endFrame - 1;
  while (last > segment.peakFrame && level[last] < low) last--;
  return { onsetSec: interpolate(first, first - 1) * hopSec, offsetSec: interpolate(last, last + 1) * hopSec };
}
