import type { CrosstalkLevels } from './crosstalk-levels.js';
import { createPlanes, smoothPower } from './planes.js';
import type { Planes } from './planes.js';
import type { Section } from './section.js';
import type { SeparationSettings } from './settings.js';

/** Predicted crosstalk counts this much more than its mean: levels of single bins scatter around it. */
const EXCESS = 4;
/** Decay of sound in the room after the caller's own track has fallen, dB per second; slower than most rooms. */
const DECAY_DB_PER_SEC = 240;

/** Another bird that calls in the section. */
export interface Caller { track: number; active: Uint8Array }

/**
 * The track of a silent wearer without the calls of others: bins where their crosstalk is to be expected go down to the noise floor. What is
 * louder than crosstalk can be, such as the wearer's own sounds, stays.
 * Expected crosstalk: the caller's power on its own track times the level between the two tracks.
 */
export function hushOthers(section: Section, track: number, callers: readonly Caller[], levels: CrosstalkLevels, floor: Float32Array, settings: SeparationSettings): Planes {
  const observed = section.tracks[track], { frameCount, binCount } = observed;
  const power = smoothPower(observed), expected = new Float32Array(power.length);
  const decay = 10 ** ((-DECAY_DB_PER_SEC * settings.hopFrames) / settings.sampleRateHz / 10);
  for (const caller of callers) {
    const ratio = levels.ratio[track * levels.trackCount + caller.track], own = smoothPower(section.tracks[caller.track]);
    const ringing = new Float32Array(binCount);
    for (let k = 0, i = 0; k < frameCount; k++) {
      for (let b = 0; b < binCount; b++, i++) {
        const now = caller.active[k] ? EXCESS * ratio[b] * own[i] : 0;
        ringing[b] = Math.max(now, decay * ringing[b]);
        expected[i] += ringing[b];
      }
    }
  }
  const out = createPlanes(frameCount, binCount);
  for (let i = 0, b = 0; i < power.length; i++) {
    const target = Math.max(floor[b], power[i] - expected[i]);
    const gain = power[i] > target ? Math.sqrt(target / power[i]) : 1;
    out.re[i] = gain * observed.re[i]; out.im[i] = gain * observed.im[i];
    if (++b === binCount) b = 0;
  }
  return out;
}
