import type { SeparationCall } from './plan-pieces.js';
import type { SeparationSettings } from './settings.js';
import type { SoloStore } from './solo-store.js';

/** Power of the crosstalk on a track per power on the caller's own track, per bin; index receiver * trackCount + source. */
export interface CrosstalkLevels { trackCount: number; ratio: Float64Array[] }

/** Solo calls per bird that levels are taken from, on either side. */
const CALLS_PER_SIDE = 5;
/** Width over which ratios are pooled over frequency, Hz. */
const POOL_HZ = 560;
/** Weight of the mean over all pairs against what was measured on the pair itself. */
const COMMON_WEIGHT = 0.02;

/** Learns the levels from the solo calls around a moment. `floors` are noise powers per track and bin. */
export async function learnLevels(store: SoloStore, tSec: number, floors: readonly Float32Array[], settings: SeparationSettings): Promise<CrosstalkLevels> {
  const trackCount = floors.length, { binCount } = settings;
  const over = Array.from({ length: trackCount * trackCount }, () => new Float64Array(binCount)), under = over.map(() => new Float64Array(binCount));
  for (let source = 0; source < trackCount; source++) {
    const near: SeparationCall[] = [...store.findNear(source, tSec, -1, CALLS_PER_SIDE), ...store.findNear(source, tSec, 1, CALLS_PER_SIDE)];
    for (const call of near) {
      const powers = await store.loadPowers(call);
      for (let i = 0; i < trackCount; i++) if (i !== source) addRatio(powers[i], powers[source], floors[i], floors[source], over[i * trackCount + source], under[i * trackCount + source]);
    }
  }
  let sumOver = 0, sumUnder = 1e-20;
  over.forEach((row, p) => row.forEach((v, b) => { sumOver += v; sumUnder += under[p][b]; }));
  const common = sumOver > 0 ? sumOver / sumUnder : 0.01;
  const width = (POOL_HZ * settings.fftSize) / settings.sampleRateHz;
  const ratio = over.map((row, p) => {
    const a = poolBins(row, width), b = poolBins(under[p], width);
    return a.map((v, k) => Math.min(2, Math.max(1e-5, (v + COMMON_WEIGHT * common) / (b[k] + COMMON_WEIGHT))));
  });
  return { trackCount, ratio };
}

/** Loud bins of the caller count by about the same weight whatever their level. */
function addRatio(heard: Float32Array, own: Float32Array, floor: Float32Array, ownFloor: Float32Array, over: Float64Array, under: Float64Array): void {
  for (let b = 0; b < over.length; b++) {
    const weight = 1 / (own[b] + 10 * ownFloor[b]);
    over[b] += weight * Math.max(0, heard[b] - floor[b]);
    under[b] += weight * Math.max(0, own[b] - ownFloor[b]);
  }
}

/** Two-sided exponential mean over bins. */
function poolBins(x: Float64Array, width: number): Float64Array {
  const keep = Math.exp(-1 / Math.max(0.1, width)), out = new Float64Array(x.length);
  const scale = (1 - keep) / (1 + keep);
  let sum = 0;
  for (let b = 0; b < x.length; b++) { sum = keep * sum + x[b]; out[b] = scale * sum; }
  sum = 0;
  for (let b = x.length - 1; b >= 0; b--) { out[b] += scale * sum; sum = keep * (sum + x[b]); }
  return out;
}

/** Variances of a path's taps before anything is known of it, [tap][bin]: its level spread over a decaying room response. */
export function spreadPrior(levels: CrosstalkLevels, receiver: number, source: number, settings: SeparationSettings): Float64Array {
  const { tapCount, leadTaps, binCount, hopFrames, sampleRateHz, pathDecaySec } = settings;
  const shape = Array.from({ length: tapCount }, (_, l) => (l < leadTaps ? 0.3 : Math.exp((-(l - leadTaps) * hopFrames) / sampleRateHz / pathDecaySec)));
  const sum = shape.reduce((a, b) => a + b, 0);
  const ratio = levels.ratio[receiver * levels.trackCount + source];
  const prior = new Float64Array(tapCount * binCount);
  // Overlapping windows see the same sound in several taps that partly cancel: three times the level, found by trial.
  for (let l = 0; l < tapCount; l++) for (let b = 0; b < binCount; b++) prior[l * binCount + b] = (3 * ratio[b] * shape[l]) / sum;
  return prior;
}
