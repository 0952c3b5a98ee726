import type { HighPass } from '../kernels/step-energies.js';
import { cosTurn, log10, pow10, sinTurn } from '../numeric/elementary.js';
import { Envelopes } from './envelopes.js';
import type { StretchContext } from './measure-candidate.js';
import type { Segment } from './segments.js';

export interface Edges { onsetSec: number; offsetSec: number }

const SMOOTH_SEC = 0.003;
/** The high-pass starts this much before what is asked for. */
const WARM_SEC = 0.01;
const ONSET_BELOW_DB = 27;
const OFFSET_BELOW_DB = 17;
/** A call that comes back to this far below its peak within its segment has not ended: it dipped. Echoes stay lower. */
const RETURN_BELOW_DB = 10;
/** A voice stops within about two milliseconds once it is 17 dB down; the room goes on. Found on simulated rooms. */
const OFFSET_AFTER_SEC = 0.002;
/** The first samples of a voice lie below the threshold for a third of a millisecond. Found on simulated rooms. */
const ONSET_AFTER_SEC = 0.0003;
/** Edges of a core, whose surroundings are loud: this far below the peak. */
const CORE_BELOW_DB = 13;
/** Edges are at least so much over the noise. */
const ONSET_OVER_NOISE_DB = 5;
const OFFSET_OVER_NOISE_DB = 7;
/** Envelopes are read at this rate and between it by straight lines. */
const STEPS_PER_SEC = 6000;
/** What is looked at before a segment, and after it. */
const BEFORE_PAD_SEC = 0.03;
const SHARED_PAD_SEC = 0.045;
const AFTER_PAD_SEC = 0.025;
/** Frames know the beginning of sound that no track leads so much too late at most: distant callers begin softly. */
const SHARED_EARLY_SEC = 0.04;
/** The envelope may rise this much before the frames do; where it is loud even earlier, another sound precedes. Found on simulated rooms, like all that follow. */
const EARLY_SEC = 0.005;
const LATE_SEC = 0.02;
/** The same where the track does not own nearly all sound: its peak may be another's. */
const LATE_AMONG_OTHERS_SEC = 0.002;
/** What precedes may itself have just begun: its level is the larger mean from either of the first two to the last, so long before the coarse onset. */
const FAR_BEFORE_SEC = 0.02, NEAR_BEFORE_SEC = 0.01, LAST_BEFORE_SEC = 0.005;
/** The call is there from so much over what precedes; with less than this between that and the peak the frames know better. */
const OVER_BEFORE_DB = 4;
const LEAST_CONTRAST_DB = 6;
/** It must rise so much further within so long after the coarse onset. */
const CONFIRM_DB = 2;
const CONFIRM_SEC = 0.02;
/** The rise is followed back below what precedes along the slope of its next 6 dB, no flatter and no further than this. */
const SLOPE_DB = 6;
const FLATTEST_SEC_PER_DB = 0.00015;
const MOST_HIDDEN_SEC = 0.003;

/**
 * Onset and offset of a segment, seconds from the stretch's start. Crossings of the band-passed envelope (3 ms): 27 dB below the peak and at
 * least 5 dB over the noise at the start, 17 and 7 dB at the end. Where another sound precedes, the onset is where the envelope rises over it.
 * Else, without kernels, and at the end where the track does not own nearly all sound: crossings of the owned level.
 */
export function refineEdges(c: StretchContext, segment: Segment, ownedShare: number): Edges {
  const { settings } = c;
  const fs = settings.sampleRateHz;
  const coarse = crossOwnedLevel(c, segment, settings.hopFrames / fs);
  const { kernels } = c.spectra;
  if (!kernels || segment.overPedestal) return coarse;
  const steps = kernels.getSteps(designHighPass(settings.bandHz[0], fs), Math.round(fs / STEPS_PER_SEC), Math.round(WARM_SEC * fs));
  const { stepFrames } = steps;
  const from = Math.round((segment.startFrame * settings.hopFrames) / stepFrames), to = Math.round((segment.endFrame * settings.hopFrames) / stepFrames);
  const rate = fs / stepFrames;
  const start = Math.max(0, from - Math.round((segment.shared ? SHARED_PAD_SEC : BEFORE_PAD_SEC) * rate));
  const end = Math.min(steps.stepCount, to + Math.round(AFTER_PAD_SEC * rate));
  const voice = new Envelopes(c, steps, segment.track, start, end, Math.round(SMOOTH_SEC * rate));
  const { own, first } = voice;
  let peak = 0;
  let at = from;
  for (let k = from; k < Math.min(to, first + own.length); k++) if (own[k - first] > peak) { peak = own[k - first]; at = k; }
  const low = Math.max(peak * pow10(-ONSET_BELOW_DB / 10), voice.ownNoise * pow10(ONSET_OVER_NOISE_DB / 10));
  if (!(peak > low)) return coarse;
  const hold = Math.round((segment.elements > 1 ? 0.065 : 0.012) * rate);
  if (segment.shared) return { ...coarse, onsetSec: placeSharedOnset(voice.findOnset(at, low, hold) / rate - ONSET_AFTER_SEC, coarse.onsetSec) };
  const isAlone = ownedShare >= 0.85;
  const rise = { at, peak, low, rate, lateSec: isAlone ? LATE_SEC : LATE_AMONG_OTHERS_SEC };
  const onsetSec = placeOnset(voice, rise, voice.findOnset(at, low, hold), coarse.onsetSec);
  if (!isAlone) return { onsetSec, offsetSec: Math.max(coarse.offsetSec, onsetSec + 1 / rate) };
  const high = Math.max(peak * pow10(-OFFSET_BELOW_DB / 10), voice.ownNoise * pow10(OFFSET_OVER_NOISE_DB / 10));
  const offset = findLastOffset(voice, at, coarse.offsetSec * rate, high, peak * pow10(-RETURN_BELOW_DB / 10), hold) / rate + OFFSET_AFTER_SEC;
  // A correction beyond the resolution of the frames means that another sound was followed.
  return { onsetSec, offsetSec: offset - coarse.offsetSec < 0.03 && offset > onsetSec ? offset : coarse.offsetSec };
}

/** The offset (a step) after `at`, or after the last return to `loud` before step `end`: what fell below `high` in between was a dip. */
function findLastOffset(voice: Envelopes, at: number, end: number, high: number, loud: number, hold: number): number {
  let offset = voice.findOffset(at, high, hold);
  for (let back = voice.findRise(Math.ceil(offset), Math.floor(end), loud); back >= 0; back = voice.findRise(Math.ceil(offset), Math.floor(end), loud)) {
    const next = voice.findOffset(back, high, hold);
    if (!(next > offset)) break;
    offset = next;
  }
  return offset;
}

function placeSharedOnset(onsetSec: number, coarseSec: number): number {
  return onsetSec > coarseSec - SHARED_EARLY_SEC ? Math.min(onsetSec, coarseSec) : coarseSec;
}

/** Step and power of the peak, the threshold, steps per second, and how much later than the coarse onset the crossing may be. */
interface Rise { at: number; peak: number; low: number; rate: number; lateSec: number }

/** The crossing (a step) if it fits the coarse onset; else where the envelope rises over what precedes; else the coarse onset. Seconds. */
function placeOnset(voice: Envelopes, rise: Rise, crossing: number, coarseSec: number): number {
  const { rate, peak } = rise;
  const onsetSec = crossing / rate - ONSET_AFTER_SEC;
  if (onsetSec - coarseSec >= rise.lateSec) return coarseSec;
  if (onsetSec - coarseSec > -EARLY_SEC) return onsetSec;
  const far = Math.round((coarseSec - FAR_BEFORE_SEC) * rate), near = Math.round((coarseSec - NEAR_BEFORE_SEC) * rate), last = Math.round((coarseSec - LAST_BEFORE_SEC) * rate);
  const before = Math.max(voice.measureMean(far, last), voice.measureMean(near, last));
  const level = Math.max(rise.low, before * pow10(OVER_BEFORE_DB / 10));
  if (level > peak * pow10(-LEAST_CONTRAST_DB / 10)) return coarseSec;
  const end = Math.min(rise.at, Math.round((coarseSec + CONFIRM_SEC) * rate));
  const sure = voice.findRise(last, end, level * pow10(CONFIRM_DB / 10));
  if (sure < 0) return coarseSec;
  const visible = voice.findOnset(sure, level, 0);
  const further = voice.findRise(Math.ceil(visible), rise.at, level * pow10(SLOPE_DB / 10));
  const secPerDb = further < 0 ? FLATTEST_SEC_PER_DB : Math.min(FLATTEST_SEC_PER_DB, (further - visible) / rate / SLOPE_DB);
  const hiddenDb = 10 * log10(level / peak) + ONSET_BELOW_DB;
  return visible / rate - ONSET_AFTER_SEC - Math.min(MOST_HIDDEN_SEC, hiddenDb * secPerDb);
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
