import type { PartFrames, PartSums } from '../kernels/set-shapes.js';
import { log10 } from '../numeric/elementary.js';
import type { FloorSpectrum } from './floors.js';
import type { BinSet } from './lags.js';
import { complexIndex, type StretchSpectra } from './spectra.js';

export interface SoundParts {
  /** How far tones keep their frequency over a window's length, 0..1: struck things that ring do, voices bend, noise has none. */
  heldTones: number;
  /** What the second half holds over the first, dB. */
  fadeDb: number;
  /** Likeness of the first 40 ms (half of a shorter sound) to the rest, 0..1, and their mean level over that of the rest, dB. */
  startLikeness: number;
  startDb: number;
  /** The same of the 40 ms before, all that the track holds there, and the whole sound. */
  beforeLikeness: number;
  beforeDb: number;
}

/** Windows overlap by three quarters: frames this far apart share no sample. */
const LAG_FRAMES = 4;
const PART_SEC = 0.04;
const MOST_DB = 30;

/** What the parts of a sound on its own track are like, in frames [startFrame, endFrame). */
export function describeParts(
  s: StretchSpectra, floor: FloorSpectrum, track: number, startFrame: number, endFrame: number, set: BinSet, bins: readonly [number, number], hopSec: number,
): SoundParts {
  const partFrames = Math.round(PART_SEC / hopSec), count = endFrame - startFrame;
  const frames: PartFrames = {
    before: Math.max(0, startFrame - partFrames), start: startFrame, split: startFrame + Math.min(partFrames, count >> 1), end: endFrame, half: (count + 1) >> 1,
  };
  const kernels = s.kernels?.fitsBand(bins) ? s.kernels.shapes : undefined;
  const sums = kernels ? kernels.compareParts(floor, track, set, frames, bins) : comparePlain(s, floor, track, set, frames, bins);
  const first = frames.split - startFrame, before = startFrame - frames.before;
  return {
    heldTones: kernels ? kernels.measureHeld(track, set, startFrame, LAG_FRAMES) : measureHeld(s, track, set, startFrame),
    fadeDb: compareDb(sums.late, sums.early),
    startLikeness: sums.likeRest, startDb: compareDb(sums.start / Math.max(1, first), sums.rest / Math.max(1, count - first)),
    beforeLikeness: sums.likeBefore, beforeDb: compareDb(sums.before / Math.max(1, before), (sums.start + sums.rest) / Math.max(1, count)),
  };
}

/** Kept within bounds: what is not there is not infinitely soft. */
function compareDb(a: number, b: number): number {
  return Math.max(-MOST_DB, Math.min(MOST_DB, 10 * log10((a + 1e-30) / (b + 1e-30))));
}

/** The kernels' `compareParts` in plain loops. */
function comparePlain(
  s: StretchSpectra, floor: FloorSpectrum, track: number, set: BinSet, frames: PartFrames, bins: readonly [number, number],
): PartSums {
  const { binCount } = s, p = s.power[track];
  const [first, rest, before] = [new Float64Array(binCount), new Float64Array(binCount), new Float64Array(binCount)];
  let late = 0; let early = 0;
  for (const k of set) {
    const bin = k % binCount, frame = (k - bin) / binCount, e = Math.max(0, p[k] - floor[bin]);
    (frame < frames.split ? first : rest)[bin] += e;
    if (frame >= frames.start + frames.half) late += e;
    if (frame < frames.end - frames.half) early += e;
  }
  for (let t = frames.before; t < frames.start; t++) for (let b = bins[0]; b < bins[1]; b++) before[b] += Math.max(0, p[t * binCount + b] - floor[b]);
  const all = rest.map((v, b) => v + first[b]), sum = (v: Float64Array): number => v.reduce((total, x) => total + x, 0);
  return { start: sum(first), rest: sum(rest), before: sum(before), likeRest: compareShapes(first, rest), likeBefore: compareShapes(before, all), late, early };
}

function compareShapes(a: Float64Array, b: Float64Array): number {
  let x = 0; let y = 0; let both = 0;
  for (let k = 0; k < a.length; k++) { x += a[k]; y += b[k]; both += Math.sqrt(a[k] * b[k]); }
  return x > 0 && y > 0 ? both / Math.sqrt(x * y) : 0;
}

/** The kernels' `heldTones` in plain loops. */
function measureHeld(s: StretchSpectra, track: number, set: BinSet, startFrame: number): number {
  const { binCount, complex } = s;
  const re = new Float64Array(binCount), im = new Float64Array(binCount);
  let all = 0;
  for (const k of set) {
    const bin = k % binCount, frame = (k - bin) / binCount;
    if (frame - LAG_FRAMES < startFrame) continue;
    const a = complexIndex(s, frame, bin, track), b = complexIndex(s, frame - LAG_FRAMES, bin, track);
    const x = complex[a] * complex[b] + complex[a + 4] * complex[b + 4], y = complex[a + 4] * complex[b] - complex[a] * complex[b + 4];
    re[bin] += x;
    im[bin] += y;
    all += Math.sqrt(x * x + y * y);
  }
  let held = 0;
  for (let b = 0; b < binCount; b++) held += Math.sqrt(re[b] * re[b] + im[b] * im[b]);
  return all > 0 ? held / all : 0;
}
