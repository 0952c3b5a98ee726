import type { Ptr } from '../kernels/kernel-exports.js';
import type { PlacedPlanes, PlaneSpace } from '../kernels/plane-space.js';
import { pow10 } from '../numeric/elementary.js';
import type { TrackSpectra } from './section.js';
import type { SeparationSettings } from './settings.js';

/** Predicted crosstalk counts this much more than its mean: levels of single bins scatter around it. */
const EXCESS = 4;
/** Decay of sound in the room after the caller's own track has fallen, dB per second; slower than most rooms. */
const DECAY_DB_PER_SEC = 240;

/** Expected crosstalk below this share of the noise is left alone. */
const INAUDIBLE = 0.1;

/** Another bird that calls in the section: windows in which it may, as flags, the smoothed power of its own track, [frame][width], and the level of its crosstalk, a row. */
export interface Caller { active: Ptr; power: Ptr; level: Ptr }

/**
 * What takes the calls of others off the track of a silent wearer: bins where their crosstalk is to be expected go down to the noise floor. What is
 * louder than crosstalk can be, such as the wearer's own sounds, stays.
 * Expected crosstalk: the caller's power on its own track times the level between the two tracks.
 * @param kept 1 in windows that stay as they are
 * @param change written: what has to be added to the spectra
 * @returns whether any crosstalk is to be expected; `change` is not written where none is
 */
export function hushOthers(space: PlaneSpace, observed: TrackSpectra, callers: readonly Caller[], kept: Uint8Array, floor: Ptr, settings: SeparationSettings, change: PlacedPlanes): boolean {
  const { k, width } = space, { planes, smooth } = observed, { frameCount } = planes, mark = k.mark(), expected = space.createRows(frameCount), ringing = space.createRows(1);
  const decay = pow10((-DECAY_DB_PER_SEC * settings.hopFrames) / settings.sampleRateHz / 10);
  space.viewRows(expected, frameCount).fill(0);
  let isAny = false;
  for (const { power, active, level } of callers) isAny = k.fn.addExpected(power, active, frameCount, width, level, EXCESS, floor, INAUDIBLE, decay, ringing, expected) === 1 || isAny;
  if (isAny) k.fn.hushBins(planes.ptr, smooth, expected, space.placeFlags(kept), frameCount, width, floor, change.ptr);
  k.release(mark);
  return isAny;
}
