import type { FloorSpectrum } from './floors.js';
import type { BinSet } from './lags.js';
import type { StretchSpectra } from './spectra.js';

export interface SoundShape {
  entropy: number; crestDb: number; peakHz: number; centroidHz: number; bandwidthHz: number; highRiseDb: number;
  timeEntropy: number; attackDb: number; flatness: number; steadiness: number;
}

/** Shape of the owned part of a sound on its own track, in frequency and time. Frames [startFrame, endFrame). */
export function describeSound(
  s: StretchSpectra, floor: FloorSpectrum, track: number, startFrame: number, endFrame: number, set: BinSet,
  bins: readonly [number, number], binHz: number,
): SoundShape {
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
  let total = 0; let top = 0; let peak = bins[0]; let centroid = 0;
  for (let b = bins[0]; b < bins[1]; b++) {
    total += spectrum[b];
    centroid += b * spectrum[b];
    if (spectrum[b] > top) { top = spectrum[b]; peak = b; }
  }
  total = Math.max(total, 1e-30);
  centroid /= total;
  let entropy = 0; let spread = 0;
  for (let b = bins[0]; b < bins[1]; b++) {
    const q = spectrum[b] / total;
    if (q > 0) entropy -= q * Math.log(q);
    spread += q * (b - centroid) ** 2;
  }
  return {
    entropy: entropy / Math.log(bins[1] - bins[0]),
    crestDb: 10 * Math.log10(Math.max(1e-9, (top * (bins[1] - bins[0])) / total)),
    peakHz: peak * binHz, centroidHz: centroid * binHz, bandwidthHz: Math.sqrt(spread) * binHz,
    highRiseDb: meanRise(s, floor, track, startFrame, endFrame, Math.min(bins[1], Math.floor(binCount * 0.8)), binCount - 1),
    timeEntropy: evenness(inTime),
    attackDb: attack(inTime),
    ...frameTexture(s, floor, track, startFrame, endFrame, bins),
  };
}

function meanRise(s: StretchSpectra, floor: FloorSpectrum, track: number, from: number, to: number, lo: number, hi: number): number {
  let a = 0; let n = 0;
  for (let t = from; t < to; t++) for (let b = lo; b < hi; b++, n++) a += s.power[track][t * s.binCount + b] / floor[b];
  return n ? 10 * Math.log10(a / n + 1e-9) : 0;
}

function evenness(x: Float64Array): number {
  let sum = 0;
  for (const v of x) sum += v;
  if (!(sum > 0) || x.length < 2) return 0;
  let h = 0;
  for (const v of x) if (v > 0) h -= (v / sum) * Math.log(v / sum);
  return h / Math.log(x.length);
}

function attack(x: Float64Array): number {
  let max = 0;
  for (const v of x) max = Math.max(max, v);
  const early = Math.max(x[0] ?? 0, x[1] ?? 0, x[2] ?? 0);
  return 10 * Math.log10((early + 1e-30) / (max + 1e-30));
}

/** Mean flatness of single frames over the floor, and mean cosine between spectra two frames apart (amplitudes). */
function frameTexture(
  s: StretchSpectra, floor: FloorSpectrum, track: number, from: number, to: number, bins: readonly [number, number],
): { flatness: number; steadiness: number } {
  const p = s.power[track];
  const width = bins[1] - bins[0];
  let flat = 0; let steady = 0; let n = 0; let m = 0;
  for (let t = from; t < to; t++) {
    let logSum = 0; let sum = 0; let dot = 0; let a = 0; let c = 0;
    const o = t * s.binCount;
    const q = (t - 4) * s.binCount;
    for (let b = bins[0]; b < bins[1]; b++) {
      const r = p[o + b] / floor[b];
      logSum += Math.log(r + 1e-6);
      sum += r;
      if (t - 4 >= from) {
        const u = Math.sqrt(p[o + b]); const v = Math.sqrt(p[q + b]);
        dot += u * v; a += u * u; c += v * v;
      }
    }
    flat += Math.exp(logSum / width) / (sum / width + 1e-12);
    n++;
    if (t - 4 >= from) { steady += dot / Math.sqrt(a * c + 1e-30); m++; }
  }
  return { flatness: n ? flat / n : 1, steadiness: m ? steady / m : 0 };
}
