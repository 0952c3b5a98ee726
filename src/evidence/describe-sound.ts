import type { SetShape, TextureSums } from '../kernels/set-shapes.js';
import { ln, log10, log2, pow2 } from '../numeric/elementary.js';
import type { FloorSpectrum } from './floors.js';
import type { BinSet } from './lags.js';
import type { StretchSpectra } from './spectra.js';
import { makeVoicePattern } from './voice-pattern.js';

export interface SoundShape {
  entropy: number; crestDb: number; peakHz: number; centroidHz: number; bandwidthHz: number; highRiseDb: number;
  timeEntropy: number; attackDb: number; flatness: number; steadiness: number;
  /** Root of the share of energy in 16 bands, evenly spaced in log frequency over the call band: two sounds compare by their inner product (Bhattacharyya 1943). */
  bands: Float64Array;
  /** Largest correlation of the amplitude spectrum with itself shifted by 250 to 3500 Hz: near 1 for stacks of harmonics. */
  harmonicity: number;
  /** Pattern of the voice (see voice-pattern.ts). */
  voice: Float64Array;
}

export const SOUND_BANDS = 16;
const HARMONIC_HZ = [250, 3500] as const;

/** Shape of the owned part of a sound on its own track, in frequency and time. Frames [startFrame, endFrame). */
export function describeSound(
  s: StretchSpectra, floor: FloorSpectrum, track: number, startFrame: number, endFrame: number, set: BinSet,
  bins: readonly [number, number], binHz: number,
): SoundShape {
  const shifts = findShifts(bins, binHz);
  const shape = s.kernels
    ? s.kernels.shapes.describe(floor, track, set, startFrame, endFrame, bins, shifts, findBandPlaces(bins))
    : describePlain(s, floor, track, set, startFrame, endFrame, bins, shifts);
  const { top, course } = shape;
  const width = bins[1] - bins[0];
  return {
    entropy: shape.entropy / ln(width),
    crestDb: 10 * log10(Math.max(1e-9, (top * width) / Math.max(shape.total, 1e-30))),
    peakHz: shape.peakBin * binHz, centroidHz: shape.centroidBin * binHz, bandwidthHz: Math.sqrt(shape.spread) * binHz,
    timeEntropy: course.sum > 0 && endFrame - startFrame > 1 ? course.entropy / ln(endFrame - startFrame) : 0,
    attackDb: 10 * log10((course.early + 1e-30) / (course.most + 1e-30)),
    bands: shape.bands.slice(),
    harmonicity: shape.likeness,
    voice: shape.voice.slice(),
    ...describeFrames(s, floor, track, startFrame, endFrame, bins),
  };
}

/** The kernels' `describe` in plain loops. */
function describePlain(
  s: StretchSpectra, floor: FloorSpectrum, track: number, set: BinSet, startFrame: number, endFrame: number, bins: readonly [number, number], shifts: readonly [number, number],
): SetShape {
  const { binCount } = s;
  const p = s.power[track];
  const spectrum = new Float64Array(binCount);
  const inTime = new Float64Array(endFrame - startFrame);
  for (let n = 0; n < set.length; n++) {
    const bin = set[n] % binCount;
    const e = Math.max(0, p[set[n]] - floor[bin]);
    spectrum[bin] += e;
    inTime[(set[n] - bin) / binCount - startFrame] += e;
  }
  let total = 0; let top = 0; let peakBin = bins[0]; let centroidBin = 0;
  for (let b = bins[0]; b < bins[1]; b++) {
    total += spectrum[b];
    centroidBin += b * spectrum[b];
    if (spectrum[b] > top) { top = spectrum[b]; peakBin = b; }
  }
  const whole = Math.max(total, 1e-30);
  centroidBin /= whole;
  let entropy = 0; let spread = 0;
  for (let b = bins[0]; b < bins[1]; b++) {
    const q = spectrum[b] / whole;
    if (q > 0) entropy -= q * ln(q);
    spread += q * (b - centroidBin) ** 2;
  }
  return {
    total, top, peakBin, centroidBin, entropy, spread, bands: shareBands(spectrum, whole, bins), voice: makeVoicePattern(spectrum, bins),
    likeness: correlateShifted(spectrum, bins, shifts), course: describeCourse(inTime),
  };
}

function describeCourse(x: Float64Array): SetShape['course'] {
  let sum = 0; let most = 0; let entropy = 0;
  for (const v of x) { sum += v; most = Math.max(most, v); }
  if (sum > 0) for (const v of x) if (v > 0) entropy -= (v / sum) * ln(v / sum);
  return { sum, most, early: Math.max(x[0] ?? 0, x[1] ?? 0, x[2] ?? 0), entropy };
}

/** Band of every bin of a band of bins. */
const bandPlaces = new WeakMap<readonly [number, number], Uint8Array>();

function findBandPlaces(bins: readonly [number, number]): Uint8Array {
  const known = bandPlaces.get(bins);
  if (known) return known;
  const octaves = log2(bins[1] / bins[0]);
  const places = Uint8Array.from({ length: bins[1] - bins[0] }, (_, n) => (
    Math.min(SOUND_BANDS - 1, Math.floor((SOUND_BANDS * log2((bins[0] + n + 0.5) / bins[0])) / octaves))));
  bandPlaces.set(bins, places);
  return places;
}

function shareBands(spectrum: Float64Array, total: number, bins: readonly [number, number]): Float64Array {
  const out = new Float64Array(SOUND_BANDS);
  const places = findBandPlaces(bins);
  for (let b = bins[0]; b < bins[1]; b++) out[places[b - bins[0]]] += spectrum[b];
  for (let k = 0; k < SOUND_BANDS; k++) out[k] = Math.sqrt(out[k] / total);
  return out;
}

/** Shifts that stacks of harmonics are looked for at, first and last, bins. */
function findShifts(bins: readonly [number, number], binHz: number): [number, number] {
  return [Math.max(2, Math.round(HARMONIC_HZ[0] / binHz)), Math.min(bins[1] - bins[0] - 1, Math.round(HARMONIC_HZ[1] / binHz))];
}

function correlateShifted(spectrum: Float64Array, bins: readonly [number, number], shifts: readonly [number, number]): number {
  const width = bins[1] - bins[0];
  const a = new Float64Array(width);
  let mean = 0;
  for (let b = 0; b < width; b++) mean += (a[b] = Math.sqrt(spectrum[bins[0] + b])) / width;
  let square = 0;
  for (let b = 0; b < width; b++) square += (a[b] -= mean) * a[b];
  if (!(square > 0)) return 0;
  let best = 0;
  for (let d = shifts[0]; d <= shifts[1]; d++) {
    let sum = 0;
    for (let b = d; b < width; b++) sum += a[b] * a[b - d];
    best = Math.max(best, sum);
  }
  return best / square;
}

const STEADY_LAG = 4;

/** Bins above the band, or above eight tenths of all bins where the band reaches higher. */
export function findHighBins(binCount: number, bins: readonly [number, number]): [number, number] {
  return [Math.min(bins[1], Math.floor(binCount * 0.8)), binCount - 1];
}

type FrameShape = Pick<SoundShape, 'flatness' | 'steadiness' | 'highRiseDb'>;

/**
 * Mean flatness of single frames over the floor, mean cosine between amplitude spectra four frames apart, and the mean rise
 * over the floor above the band, or above eight tenths of all bins where the band reaches higher.
 */
function describeFrames(
  s: StretchSpectra, floor: FloorSpectrum, track: number, from: number, to: number, bins: readonly [number, number],
): FrameShape {
  const high = findHighBins(s.wholeBinCount ?? s.binCount, bins);
  const { flat, steady, rise } = s.kernels?.fitsBand(bins)
    ? s.kernels.shapes.describeFrames(floor, track, from, to, bins, STEADY_LAG, high)
    : sumFrames(s, floor, track, from, to, bins, high);
  const count = to - from;
  const riseCount = count * Math.max(0, high[1] - high[0]);
  return {
    flatness: count > 0 ? flat / count : 1,
    steadiness: count > STEADY_LAG ? steady / (count - STEADY_LAG) : 0,
    highRiseDb: riseCount > 0 ? 10 * log10(rise / riseCount + 1e-9) : 0,
  };
}

/** The kernels' `describeFrames` in plain loops. */
function sumFrames(
  s: StretchSpectra, floor: FloorSpectrum, track: number, from: number, to: number, bins: readonly [number, number], high: readonly [number, number],
): TextureSums {
  const p = s.power[track];
  const width = bins[1] - bins[0];
  let flat = 0; let steady = 0; let rise = 0;
  for (let t = from; t < to; t++) {
    const o = t * s.binCount;
    const q = t - STEADY_LAG >= from ? o - STEADY_LAG * s.binCount : -1;
    let logs = 0; let ratios = 0; let products = 0; let here = 0; let before = 0;
    for (let b = bins[0]; b < bins[1]; b++) {
      const r = p[o + b] / floor[b];
      logs += log2(r + 1e-6);
      ratios += r;
      here += p[o + b];
      if (q < 0) continue;
      products += Math.sqrt(p[o + b]) * Math.sqrt(p[q + b]);
      before += p[q + b];
    }
    flat += pow2(logs / width) / (ratios / width + 1e-12);
    if (q >= 0) steady += products / Math.sqrt(here * before + 1e-30);
    let ratio = 0;
    for (let b = high[0]; b < high[1]; b++) ratio += p[o + b] / floor[b];
    rise += ratio;
  }
  return { flat, steady, rise };
}
