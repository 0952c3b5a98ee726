import type { StepEnergies } from '../kernels/step-energies.js';
import { pow10 } from '../numeric/elementary.js';
import type { FloorSpectrum } from './floors.js';
import type { StretchContext } from './measure-candidate.js';

const ROOM_SHARE = 1.6;

/**
 * The envelope of a track, and the same without the room's decay ("dry"): after a call the diffuse field is about equally loud at every
 * microphone once the gains are taken out, so 1.6 times the median of the other tracks is subtracted. During the call the others are far
 * below the own track and little is lost. Mean squares over `width` steps, around the beginning of a step; places are steps of the stretch.
 * One at a time: the next envelope of a stretch takes the place of the last.
 */
export class Envelopes {
  /** Of the steps from `first` on. */
  readonly own: Float64Array;
  readonly ownNoise: number;
  /** Per lane, noise and what makes up for the gain; not-a-number where a lane is no other track that is heard. */
  private readonly noise: number[];
  private readonly scale: number[];

  constructor(c: StretchContext, private readonly steps: StepEnergies, track: number, readonly first: number, end: number, private readonly width: number) {
    steps.prepare(first - (width >> 1), end + width);
    this.ownNoise = measureBandNoise(c, track);
    const middle = Math.min(Math.round(((first + end) / 2) * (steps.stepFrames / c.settings.hopFrames)), c.spectra.frameCount - 1);
    this.noise = Array<number>(steps.laneCount).fill(NaN);
    this.scale = Array<number>(steps.laneCount).fill(0);
    for (let j = 0; j < c.floors.length; j++) {
      if (j === track || c.lost[j][middle]) continue;
      this.noise[j] = measureBandNoise(c, j);
      this.scale[j] = pow10((c.gainDb[track] - c.gainDb[j]) / 10);
    }
    this.own = steps.followTrack(track, first, Math.max(0, end - first), width);
  }

  /** Where the envelope, followed back from a step, last was above a level, bridging up to `hold` steps below it. */
  findOnset(from: number, low: number, hold: number): number {
    const { own, first } = this;
    let last = from - first;
    for (let k = last; k >= 0; k--) {
      if (own[k] >= low) last = k;
      else if (last - k > hold) break;
    }
    return first + (last > 0 ? last - shareAbove(own[last], own[last - 1], low) : last);
  }

  /** The first step of [from, to] at which the envelope has reached a level, -1 if none. */
  findRise(from: number, to: number, level: number): number {
    const { own, first } = this;
    for (let k = Math.max(first, from); k <= Math.min(to, first + own.length - 1); k++) if (own[k - first] >= level) return k;
    return -1;
  }

  /** Mean of the envelope over steps [from, to), as far as it is known; 0 where it is not. */
  measureMean(from: number, to: number): number {
    const { own, first } = this;
    let sum = 0;
    const a = Math.max(first, from), b = Math.min(to, first + own.length);
    for (let k = a; k < b; k++) sum += own[k - first];
    return b > a ? sum / (b - a) : 0;
  }

  /** The same as `findOnset` forwards in the dry envelope. */
  findOffset(from: number, high: number, hold: number): number {
    const { own, first, width, noise, scale } = this;
    return this.steps.findDryOffset(first, own.length, from, high, hold, width, ROOM_SHARE, noise, scale);
  }
}

/** How far from the step inside to the next one the level is crossed, 0 .. 1. */
function shareAbove(inside: number, outside: number, level: number): number {
  return inside > level && outside < level ? (inside - level) / (inside - outside) : 0;
}

const bandNoises = new WeakMap<FloorSpectrum, { lowBin: number; noise: number }>();

/** Noise power of a track above the band's lower edge: the floor's mean over those bins (its bins carry the variance of white noise each). */
function measureBandNoise(c: StretchContext, track: number): number {
  const f = c.floors[track];
  const lowBin = c.settings.bandBins[0];
  const known = bandNoises.get(f);
  if (known?.lowBin === lowBin) return known.noise;
  let a = 0;
  for (let b = lowBin; b < f.length; b++) a += f[b];
  const noise = a / f.length;
  bandNoises.set(f, { lowBin, noise });
  return noise;
}
