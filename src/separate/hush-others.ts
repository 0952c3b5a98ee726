import { pow10 } from '../numeric/elementary.js';
import type { CrosstalkLevels } from './crosstalk-levels.js';
import { createPlanes, smoothPower } from './planes.js';
import type { Planes } from './planes.js';
import type { Section } from './section.js';
import type { SeparationSettings } from './settings.js';

/** Predicted crosstalk counts this much more than its mean: levels of single bins scatter around it. */
const EXCESS = 4;
/** Decay of sound in the room after the caller's own track has fallen, dB per second; slower than most rooms. */
const DECAY_DB_PER_SEC = 240;

/** Expected crosstalk below this share of the noise is left alone. */
const INAUDIBLE = 0.1;

/** Another bird that calls in the section; smoothed power of its own track, [frame][bin]. */
export interface Caller { track: number; active: Uint8Array; power: Float32Array }

/**
 * What takes the calls of others off the track of a silent wearer: bins where their crosstalk is to be expected go down to the noise floor. What is
 * louder than crosstalk can be, such as the wearer's own sounds, stays.
 * Expected crosstalk: the caller's power on its own track times the level between the two tracks.
 * @param kept 1 in windows that stay as they are
 */
export function hushOthers(section: Section, track: number, callers: readonly Caller[], kept: Uint8Array, levels: CrosstalkLevels, floor: Float32Array, settings: SeparationSettings): Planes {
  const observed = section.tracks[track], { frameCount, binCount } = observed;
  const power = smoothPower(observed), expected = new Float32Array(power.length);
  const decay = pow10((-DECAY_DB_PER_SEC * settings.hopFrames) / settings.sampleRateHz / 10);
  let from = binCount, to = 0;
  for (const caller of callers) {
    const ratio = levels.ratio[track * levels.trackCount + caller.track], own = caller.power;
    const ringing = new Float32Array(binCount), most = Float32Array.from(ratio, (v) => EXCESS * v), [first, end] = findAudible(caller, ratio, floor);
    from = Math.min(from, first); to = Math.max(to, end);
    // Bins in which it may still be heard; those outside are 0.
    let low = first, high = first;
    for (let k = 0; k < frameCount; k++) {
      const isActive = caller.active[k] === 1, begin = isActive ? first : low, stop = isActive ? end : high;
      low = stop; high = begin;
      for (let b = begin, i = k * binCount + b; b < stop; b++, i++) {
        const rest = decay * ringing[b], now = isActive ? most[b] * own[i] : 0, loud = now > rest ? now : rest;
        ringing[b] = loud;
        expected[i] += loud;
        if (loud > INAUDIBLE * floor[b]) { if (b < low) low = b; high = b + 1; }
      }
      ringing.fill(0, begin, low);
      ringing.fill(0, Math.max(begin, high), stop);
    }
  }
  const change = createPlanes(frameCount, binCount);
  for (let k = 0; k < frameCount; k++) {
    if (kept[k]) continue;
    for (let b = from, i = k * binCount + b; b < to; b++, i++) {
      const target = Math.max(floor[b], power[i] - expected[i]);
      if (power[i] <= target) continue;
      const loss = Math.sqrt(target / power[i]) - 1;
      change.re[i] = loss * observed.re[i]; change.im[i] = loss * observed.im[i];
    }
  }
  return change;
}

/** Bins between the lowest and the highest in which a caller's crosstalk may come near the noise. */
function findAudible({ active, power }: Caller, ratio: Float64Array, floor: Float32Array): [number, number] {
  const binCount = floor.length;
  let first = binCount, end = 0;
  for (let k = 0; k < active.length; k++) {
    if (!active[k]) continue;
    const o = k * binCount, isLoud = (b: number): boolean => EXCESS * ratio[b] * power[o + b] > INAUDIBLE * floor[b];
    for (let b = 0; b < first; b++) if (isLoud(b)) first = b;
    for (let b = binCount - 1; b >= end; b--) if (isLoud(b)) end = b + 1;
  }
  return [first, end];
}
