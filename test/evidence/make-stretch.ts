/** Sounds with known truth for the evidence tests, and their spectra by the kernels. */
import { countEngineBytes, createKernelEngine } from '../../src/evidence/kernel-engine.js';
import { findLowQuantiles, finishFloor, type FloorSpectrum } from '../../src/evidence/floors.js';
import { resolveSettings, type AnalysisSettings } from '../../src/evidence/settings.js';
import type { StretchSpectra } from '../../src/evidence/spectra.js';
import { createKernels } from '../../src/kernels/kernels.js';
import { loadKernelsFile } from '../../src/node/kernels-file.js';
import { makeRandom } from '../model/clock-synthetic.js';

export const RATE = 44100;
export const settings: AnalysisSettings = resolveSettings(RATE);
export const HOP_SEC = settings.hopFrames / RATE;

/** White Gaussian noise. */
export function makeGaussian(frames: number, seed: number, deviation: number): Float32Array {
  const { gauss } = makeRandom(seed);
  return Float32Array.from({ length: frames }, () => deviation * gauss());
}

/**
 * A harmonic stack of 700 Hz and a bit, gliding, between two moments, with raised-cosine edges; delayed exactly by any number of seconds.
 * @param level peak amplitude of the strongest partial
 */
export function addVoice(into: Float32Array, onsetSec: number, offsetSec: number, level: number, options: { delaySec?: number; edgeSec?: number; freqHz?: number; partials?: number } = {}): void {
  const { delaySec = 0, edgeSec = 0.004, freqHz = 730, partials = 11 } = options;
  // A steady tone looks the same one period later: a glide of 30 % makes the delay unique.
  const last = Math.min(into.length, Math.ceil((offsetSec + delaySec) * RATE) + 1);
  for (let n = Math.max(0, Math.floor((onsetSec + delaySec) * RATE)); n < last; n++) {
    const t = n / RATE - delaySec - onsetSec;
    const rest = offsetSec - onsetSec - t;
    if (t <= 0 || rest <= 0) continue;
    const edge = Math.min(1, t / edgeSec, rest / edgeSec);
    const envelope = 0.5 - 0.5 * Math.cos(Math.PI * edge);
    const phase = 2 * Math.PI * freqHz * (t - (0.15 * t * t) / (offsetSec - onsetSec));
    let v = 0;
    for (let k = 1; k <= partials; k++) v += Math.sin(k * phase + 1.7 * k * k) / (1 + 0.2 * Math.abs(k - 4));
    into[n] += level * envelope * v;
  }
}

/** Spectra of a stretch; a copy of their own, so that the next call may be made. With `plain` the kernels are left out. */
export async function analyse(signals: readonly Float32Array[], plain = false): Promise<StretchSpectra> {
  const frames = signals[0].length;
  const kernels = createKernels(await loadKernelsFile(), countEngineBytes(settings, signals.length, frames));
  const s = createKernelEngine(kernels, settings).analyse(signals, frames);
  return plain ? { ...s, kernels: undefined } : s;
}

/** A flat floor: white noise of that variance. */
export function flatFloor(variance: number): FloorSpectrum {
  return new Float32Array(settings.fftSize / 2 + 1).fill(variance);
}

export const middleOf = (values: ArrayLike<number>): number => Float64Array.from(values).sort()[values.length >> 1];

/** Noise floors of all tracks from chosen frames of a stretch. */
export function estimateFloors(s: StretchSpectra, frames: readonly number[]): FloorSpectrum[] {
  return s.power.map((p) => finishFloor(findLowQuantiles(frames.map((t) => p.subarray(t * s.binCount, (t + 1) * s.binCount)))));
}
