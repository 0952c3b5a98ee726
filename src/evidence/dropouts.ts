import { log10, pow10 } from '../numeric/elementary.js';
import type { FloorSpectrum } from './floors.js';
import type { StretchSpectra } from './spectra.js';

const BANDS = 8;
const LEAST_RISE_DB = 9;
const MOST_SPREAD_DB = 9;
const SMOOTH = 4;

/** Edges of the bands that frames of a lost link are told by; undefined where there are too few bins. */
export function findRiseEdges(binCount: number, lowestBin: number): number[] | undefined {
  const edges = listEdges(binCount, lowestBin);
  return edges.every((e, k) => k === 0 || e > edges[k - 1]) ? edges : undefined;
}

function listEdges(binCount: number, lowestBin: number): number[] {
  const top = binCount - 2;
  return Array.from({ length: BANDS + 1 }, (_, k) => Math.round(lowestBin + ((top - lowestBin) * k) / BANDS));
}

/**
 * Frames in which a track's radio link is down: loud receiver noise fills every band by about the same amount over the floor,
 * up to half the sample rate, as no voice and no wing does (white noise after the detector below threshold).
 * @returns per track one byte per frame, 1 = lost
 */
export function findLostFrames(s: StretchSpectra, floors: readonly FloorSpectrum[], lowestBin: number): Uint8Array[] {
  const binCount = s.wholeBinCount ?? s.binCount;
  const fit = findRiseEdges(binCount, lowestBin);
  const edges = listEdges(binCount, lowestBin);
  if (s.kernels && fit) {
    return s.kernels.flagEvenFrames(floors, fit, SMOOTH, pow10(LEAST_RISE_DB / 10), pow10(MOST_SPREAD_DB / 10)).map(widenRaw);
  }
  const rise = new Float64Array(BANDS);
  const sum = new Float64Array(BANDS);
  return s.power.map((p, track) => {
    const band = new Float32Array(s.frameCount * BANDS);
    for (let t = 0; t < s.frameCount; t++) {
      for (let k = 0; k < BANDS; k++) {
        let a = 0;
        for (let b = edges[k]; b < edges[k + 1]; b++) a += p[t * s.binCount + b] / floors[track][b];
        band[t * BANDS + k] = a / (edges[k + 1] - edges[k]);
      }
    }
    const raw = new Uint8Array(s.frameCount);
    for (let t = 0; t < s.frameCount; t++) {
      sum.fill(0);
      let n = 0;
      for (let u = Math.max(0, t - SMOOTH); u <= Math.min(s.frameCount - 1, t + SMOOTH); u++, n++) {
        for (let k = 0; k < BANDS; k++) sum[k] += band[u * BANDS + k];
      }
      for (let k = 0; k < BANDS; k++) rise[k] = 10 * log10(sum[k] / n + 1e-9);
      rise.sort();
      // One band may hold a loud call on top of the noise: leave the largest out.
      raw[t] = rise[0] > LEAST_RISE_DB && rise[BANDS - 2] - rise[0] < MOST_SPREAD_DB ? 1 : 0;
    }
    return widenRaw(raw);
  });
}

const widenRaw = (raw: Uint8Array): Uint8Array => widenRuns(raw, 6, SMOOTH + 2);

/** Keeps runs of at least `least` frames and widens them by `by` frames on both sides. */
function widenRuns(raw: Uint8Array, least: number, by: number): Uint8Array {
  const out = new Uint8Array(raw.length);
  for (let t = 0; t < raw.length; ) {
    if (!raw[t]) { t++; continue; }
    let e = t;
    while (e < raw.length && raw[e]) e++;
    if (e - t >= least) out.fill(1, Math.max(0, t - by), Math.min(raw.length, e + by));
    t = e;
  }
  return out;
}
