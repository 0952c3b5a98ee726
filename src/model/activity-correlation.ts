import { log2, pow2 } from '../numeric/elementary.js';
import { Correlator } from './correlator.js';

/** Loudness over time of one recorder: one value per step, from its own file time zero. */
export interface ActivityTrace {
  stepSec: number;
  values: Float32Array | Uint8Array;
}

/** An offset of one recorder against another, and how far the correlation there is above its mean, in standard deviations. */
export interface FoundOffset { offsetSec: number; strength: number }

/** Steps summed for the search: about the length of a transform. */
const THIN = 4;

/**
 * Correlates reference steps [from, from + width) with the other recorder, offsets within centre +- span: first on traces thinned by THIN,
 * which tell whether there is agreement and where, then on all steps around that place.
 */
export function correlateWindow(reference: ActivityTrace, other: ActivityTrace, from: number, width: number, centreSec: number, spanSec: number): FoundOffset | null {
  const { stepSec } = reference;
  const a = reference.values.subarray(from, Math.min(reference.values.length, from + width));
  const half = Math.ceil(spanSec / stepSec / THIN);
  const start = from + Math.round(centreSec / stepSec) - half * THIN;
  const thinA = removeMean(thin(a, 0, Math.floor(a.length / THIN)).map(Math.sqrt));
  if (thinA.length < 16) return null;
  const thinB = removeMean(thin(other.values, start, thinA.length + 2 * half).map(Math.sqrt));
  const r = reuseCorrelator(thinA.length + thinB.length).correlate(thinA, thinB, 2 * half + 1, true);
  let top = 0;
  for (let k = 1; k < r.length; k++) if (r[k] > r[top]) top = k;
  const mean = r.reduce((s, v) => s + v, 0) / r.length;
  const sd = Math.sqrt(r.reduce((s, v) => s + (v - mean) ** 2, 0) / r.length);
  if (!(sd > 0)) return null;
  return { offsetSec: (start - from + refine(removeMean(a), other.values, start, top * THIN)) * stepSec, strength: (r[top] - mean) / sd };
}

/** Tables of a transform are costly: windows of one size share them. */
const correlators = new Map<number, Correlator>();

function reuseCorrelator(leastLength: number): Correlator {
  const key = Math.ceil(log2(leastLength));
  let found = correlators.get(key);
  if (!found) correlators.set(key, found = new Correlator(pow2(key)));
  return found;
}

/** Best shift within two thinned steps of one, in steps after `start`, by a parabola through the correlation of all steps. */
function refine(a: Float64Array, b: Float32Array | Uint8Array, start: number, around: number): number {
  const least = around - 2 * THIN;
  const sums = Array.from({ length: 4 * THIN + 1 }, (_, n) => {
    const shift = start + least + n;
    let s = 0;
    for (let k = Math.max(0, -shift); k < Math.min(a.length, b.length - shift); k++) s += a[k] * b[k + shift];
    return s;
  });
  let best = 0;
  sums.forEach((v, n) => { if (v > sums[best]) best = n; });
  const curve = (sums[best - 1] ?? sums[best]) - 2 * sums[best] + (sums[best + 1] ?? sums[best]);
  const shift = curve < 0 && best > 0 && best < sums.length - 1 ? (0.5 * (sums[best - 1] - sums[best + 1])) / curve : 0;
  return least + best + shift;
}

/** Sums of THIN values each, from an index on; what lies outside counts as silence. */
function thin(values: Float32Array | Uint8Array, from: number, count: number): Float32Array {
  const out = new Float32Array(count);
  for (let k = Math.max(0, -from); k < Math.min(count * THIN, values.length - from); k++) out[Math.floor(k / THIN)] += values[from + k];
  return out;
}

function removeMean(x: Float32Array | Uint8Array): Float64Array {
  let s = 0;
  for (const v of x) s += v;
  const mean = s / Math.max(1, x.length);
  return Float64Array.from(x, (v) => v - mean);
}
