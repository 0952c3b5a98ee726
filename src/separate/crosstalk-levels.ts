import type { Ptr } from '../kernels/kernel-exports.js';
import { exp } from '../numeric/elementary.js';
import type { PlaneSpace } from '../kernels/plane-space.js';
import type { SeparationCall } from './plan-pieces.js';
import type { Section } from './section.js';
import type { SeparationSettings } from './settings.js';
import type { SoloStore } from './solo-store.js';

/** Power of the crosstalk on a track per power on the caller's own track; index receiver * trackCount + source. */
export interface CrosstalkLevels {
  trackCount: number;
  /** Per bin. */
  ratio: Float64Array[];
  /** Over all bins, the lower median over solo calls; and how many these were. A few calls given to the wrong bird do not move it. */
  usual: Float64Array;
  callCount: Uint8Array;
}

/** Solo calls per bird that levels are taken from, on either side. */
const CALLS_PER_SIDE = 5;
/** Width over which ratios are pooled over frequency, Hz. */
const POOL_HZ = 560;
/** Bins of a caller whose power is this many times its noise tell how loud crosstalk is. */
export const CLEAR_OF_NOISE = 20;
/** Weight of the mean over all pairs against what was measured on the pair itself. */
const COMMON_WEIGHT = 0.02;

/** Learns the levels from the solo calls around a moment. `floors` are noise powers per track and bin. */
export async function learnLevels(store: SoloStore, tSec: number, floors: readonly Float32Array[], settings: SeparationSettings): Promise<CrosstalkLevels> {
  const trackCount = floors.length, { binCount } = settings;
  // What was heard is per pair, what was called is the same for all that hear it.
  const over = Array.from({ length: trackCount * trackCount }, () => new Float64Array(binCount)), under = floors.map(() => new Float64Array(binCount)), single = over.map((): number[] => []);
  const weight = new Float64Array(binCount);
  for (let source = 0; source < trackCount; source++) {
    const near: SeparationCall[] = [...store.findNear(source, tSec, -1, CALLS_PER_SIDE), ...store.findNear(source, tSec, 1, CALLS_PER_SIDE)], ownFloor = floors[source];
    for (const call of near) {
      const powers = await store.loadPowers(call), own = powers[source], called = addCalled(own, ownFloor, weight, under[source]);
      for (let i = 0; i < trackCount; i++) if (i !== source) {
        const at = i * trackCount + source;
        single[at].push(addHeard(powers[i], floors[i], own, ownFloor, weight, over[at]) / called);
      }
    }
  }
  let sumOver = 0, sumUnder = 1e-20;
  for (const row of over) for (let b = 0; b < binCount; b++) sumOver += row[b];
  for (let i = 0; i < trackCount; i++) for (let source = 0; source < trackCount; source++) if (i !== source) for (let b = 0; b < binCount; b++) sumUnder += under[source][b];
  const common = sumOver > 0 ? sumOver / sumUnder : 0.01;
  const width = (POOL_HZ * settings.fftSize) / settings.sampleRateHz, called = under.map((row) => poolBins(row, width));
  const ratio = over.map((row, p) => {
    const heard = poolBins(row, width), own = called[p % trackCount];
    for (let k = 0; k < binCount; k++) heard[k] = Math.min(2, Math.max(1e-5, (heard[k] + COMMON_WEIGHT * common) / (own[k] + COMMON_WEIGHT)));
    return heard;
  });
  return { trackCount, ratio, usual: Float64Array.from(single, findLowerMedian), callCount: Uint8Array.from(single, (x) => x.length) };
}

function findLowerMedian(values: readonly number[]): number {
  return values.length > 0 ? [...values].sort((a, b) => a - b)[(values.length - 1) >> 1] : 0;
}

/** Weights of the bins of a call, under which loud bins count by about the same whatever their level, and its weighted power, added. Gives the sum over the clear bins. */
function addCalled(own: Float32Array, ownFloor: Float32Array, weight: Float64Array, under: Float64Array): number {
  let sum = 1e-12;
  for (let b = 0; b < under.length; b++) {
    weight[b] = 1 / (own[b] + 10 * ownFloor[b]);
    const d = weight[b] * Math.max(0, own[b] - ownFloor[b]);
    under[b] += d;
    if (own[b] > CLEAR_OF_NOISE * ownFloor[b]) sum += d;
  }
  return sum;
}

/** Weighted power of a call on a track that heard it, added. Gives the sum over the bins in which the call is clear. */
function addHeard(heard: Float32Array, floor: Float32Array, own: Float32Array, ownFloor: Float32Array, weight: Float64Array, over: Float64Array): number {
  let sum = 0;
  for (let b = 0; b < over.length; b++) {
    const d = weight[b] * Math.max(0, heard[b] - floor[b]);
    over[b] += d;
    if (own[b] > CLEAR_OF_NOISE * ownFloor[b]) sum += d;
  }
  return sum;
}

/** Two-sided exponential mean over bins. */
export function poolBins(x: ArrayLike<number>, width: number): Float64Array {
  const keep = exp(-1 / Math.max(0.1, width)), out = new Float64Array(x.length);
  const scale = (1 - keep) / (1 + keep);
  let sum = 0;
  for (let b = 0; b < x.length; b++) { sum = keep * sum + x[b]; out[b] = scale * sum; }
  sum = 0;
  for (let b = x.length - 1; b >= 0; b--) { out[b] += scale * sum; sum = keep * (sum + x[b]); }
  return out;
}

/** Variances of a path's taps before anything is known of it, [tap][width], into `prior`: its level spread over a decaying room response. */
export function spreadPrior(levels: CrosstalkLevels, receiver: number, source: number, settings: SeparationSettings, width: number, prior: Float64Array): void {
  const { tapCount, leadTaps, binCount, hopFrames, sampleRateHz, pathDecaySec } = settings;
  const shape = Array.from({ length: tapCount }, (_, l) => (l < leadTaps ? 0.3 : exp((-(l - leadTaps) * hopFrames) / sampleRateHz / pathDecaySec)));
  const sum = shape.reduce((a, b) => a + b, 0);
  const ratio = levels.ratio[receiver * levels.trackCount + source];
  // Overlapping windows see the same sound in several taps that partly cancel: three times the level, found by trial.
  prior.fill(1);
  for (let l = 0; l < tapCount; l++) for (let b = 0; b < binCount; b++) prior[l * width + b] = (3 * ratio[b] * shape[l]) / sum;
}

/** Share of the bins that crosstalk alone may fill, and how far a bin of crosstalk lies above such a low quantile in the mean. */
const QUIET_SHARE = 0.2;
/** Least number of bins that can tell. */
const LEAST_BINS = 100;

/**
 * Levels for one section: where birds have moved apart since their solo calls, a track is quieter than the levels have it even where its own
 * voice is added. Levels fall to `tameFactor` times the ratio that a low quantile of the bins has; they never rise.
 */
export function tameLevels(space: PlaneSpace, levels: CrosstalkLevels, section: Section, members: readonly number[], floorRows: readonly Ptr[], tameFactor: number): CrosstalkLevels {
  const { k, width, binCount } = space, ratio = [...levels.ratio], { spectrumCount } = section, mark = k.mark(), found = k.allocF32(spectrumCount * width);
  for (const to of members) {
    for (const from of members) {
      if (to === from) continue;
      const at = to * levels.trackCount + from, known = levels.ratio[at], row = k.mark();
      const count = k.fn.collectRatios(section.tracks.get(to)!.smooth, section.tracks.get(from)!.smooth, spectrumCount, binCount, width, space.placeRow(known), floorRows[to], floorRows[from], found);
      k.release(row);
      if (count < LEAST_BINS) continue;
      const scale = Math.min(1, tameFactor * k.fn.selectRank(found, count, Math.floor(QUIET_SHARE * count)));
      ratio[at] = known.map((v) => Math.max(1e-6, scale * v));
    }
  }
  k.release(mark);
  return { ...levels, ratio };
}
