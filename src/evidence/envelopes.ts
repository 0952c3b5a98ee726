import type { StepEnergies } from '../kernels/step-energies.js';
import { pow10 } from '../numeric/elementary.js';
import type { StretchContext } from './measure-candidate.js';

const ROOM_SHARE = 1.6;

interface Other { lane: number; noise: number; scale: number; sum: number }

/**
 * The envelope of a track, and the same without the room's decay ("dry"): after a call the diffuse field is about equally loud at every
 * microphone once the gains are taken out, so 1.6 times the median of the other tracks is subtracted. During the call the others are far
 * below the own track and little is lost. Mean squares over `width` steps, around the beginning of a step; places are steps of the stretch.
 */
export class Envelopes {
  /** Of the steps from `first` on. */
  readonly own: Float64Array;
  readonly ownNoise: number;
  private readonly others: Other[] = [];
  private readonly half: number;
  private readonly perFrame: number;
  private readonly column: Float64Array;

  constructor(c: StretchContext, private readonly steps: StepEnergies, track: number, readonly first: number, end: number, private readonly width: number) {
    this.half = width >> 1;
    this.perFrame = 1 / (width * steps.stepFrames);
    steps.prepare(first - this.half, end + width);
    this.ownNoise = measureBandNoise(c, track);
    const middle = Math.min(Math.round(((first + end) / 2) * (steps.stepFrames / c.settings.hopFrames)), c.spectra.frameCount - 1);
    for (let j = 0; j < c.floors.length; j++) {
      if (j === track || c.lost[j][middle]) continue;
      this.others.push({ lane: j, noise: measureBandNoise(c, j), scale: pow10((c.gainDb[track] - c.gainDb[j]) / 10), sum: 0 });
    }
    this.column = new Float64Array(this.others.length);
    this.own = new Float64Array(Math.max(0, end - first));
    let sum = this.sumAround(track, first);
    for (let k = 0; k < this.own.length; k++) {
      this.own[k] = Math.max(0, sum) * this.perFrame;
      sum += this.readStep(track, first + k - this.half + width) - this.readStep(track, first + k - this.half);
    }
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
    const { own, first, others, half, width } = this;
    for (const o of others) o.sum = this.sumAround(o.lane, from);
    let last = from - first;
    for (let k = last; k < own.length; k++) {
      if (own[k] >= high && this.isDry(own[k], high)) last = k;
      else if (k - last > hold) break;
      for (const o of others) o.sum += this.readStep(o.lane, first + k - half + width) - this.readStep(o.lane, first + k - half);
    }
    return first + last + (last + 1 < own.length ? shareAbove(this.findDry(last), this.findDry(last + 1), high) : 0);
  }

  /** Whether no more than the half of the others that may is loud enough to push the dry envelope below the level. */
  private isDry(own: number, high: number): boolean {
    const { others, perFrame } = this;
    if (others.length === 0) return true;
    const most = (own - high) / ROOM_SHARE;
    let quiet = 0;
    for (const o of others) if ((o.sum * perFrame - o.noise) * o.scale <= most) quiet++;
    return quiet > others.length >> 1;
  }

  private findDry(k: number): number {
    const { own, others, column, perFrame } = this;
    if (others.length === 0) return own[k];
    others.forEach((o, n) => { column[n] = Math.max(0, this.sumAround(o.lane, this.first + k) * perFrame - o.noise) * o.scale; });
    column.sort();
    return own[k] - ROOM_SHARE * column[column.length >> 1];
  }

  private sumAround(lane: number, step: number): number {
    let sum = 0;
    for (let s = step - this.half; s < step - this.half + this.width; s++) sum += this.readStep(lane, s);
    return sum;
  }

  private readStep(lane: number, step: number): number {
    const { steps } = this;
    return step < 0 || step >= steps.stepCount ? 0 : steps.values[step * steps.laneCount + lane];
  }
}

/** How far from the step inside to the next one the level is crossed, 0 .. 1. */
function shareAbove(inside: number, outside: number, level: number): number {
  return inside > level && outside < level ? (inside - level) / (inside - outside) : 0;
}

/** Noise power of a track above the band's lower edge: the floor's mean over those bins (its bins carry the variance of white noise each). */
function measureBandNoise(c: StretchContext, track: number): number {
  const f = c.floors[track];
  let a = 0;
  for (let b = c.settings.bandBins[0]; b < f.length; b++) a += f[b];
  return a / f.length;
}
