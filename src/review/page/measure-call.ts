/** Levels, lags and spectra of one call on all tracks, measured anew from the sound. Runs in a worker. */
import { correlateRegion, createCorrelationPlan, findPeak } from '../../kernels/correlation.js';
import { countCoveringSpectra } from '../../kernels/cross-spectra.js';
import { createKernels } from '../../kernels/kernels.js';
import type { Kernels } from '../../kernels/kernels.js';
import { measureMeanPowers } from '../../kernels/mean-powers.js';
import type { SignalRegion } from '../../kernels/stft.js';
import type { StudyInfo } from '../study-info.js';
import type { ReadSamples } from './compute-tile.js';
import type { CallEvidence, MeasureJob, TrackEvidence } from './worker-messages.js';

/** Quiet stretch before a call that tells the noise, seconds. */
const BEFORE_SEC = 0.06;
/** Largest lag looked for: 2.5 m of air. */
const MAX_LAG_SEC = 0.0075;
const LONGEST_SEC = 1.5;
/** Whitened correlation below which two tracks are not taken to hear the same sound; rise over the noise that a lag needs, dB. */
const LEAST_LIKENESS = 0.12;
const LEAST_RISE_DB = 3;
/** The kernels compare at most this many tracks at once. */
const MOST_TRACKS = 16;

/**
 * Lags by phase-weighted correlation (Knapp and Carter 1976) over the bins in which the call stands out on its own track; levels within the band, the
 * noise just before the call taken off. With more than 16 tracks the own track is compared with the fifteen that follow it in the study, wrapping around.
 */
export async function measureCall(kernels: WebAssembly.Module, info: StudyInfo, read: ReadSamples, job: MeasureJob): Promise<CallEvidence> {
  const { sampleRateHz } = info;
  const trackCount = Math.min(MOST_TRACKS, info.tracks.length);
  const chosen = Array.from({ length: trackCount }, (_, k) => (job.own + k) % info.tracks.length);
  const fftSize = Math.min(4096, 2 ** Math.round(Math.log2(0.064 * sampleRateHz)));
  const windowFrames = fftSize / 2;
  const maxLagFrames = Math.min(fftSize / 2, Math.ceil(MAX_LAG_SEC * sampleRateHz));
  const endSec = Math.min(job.offsetSec, job.onsetSec + LONGEST_SEC);
  const callFrames = Math.max(windowFrames / 4, Math.round((endSec - job.onsetSec) * sampleRateHz));
  const beforeFrames = Math.max(windowFrames, Math.round(BEFORE_SEC * sampleRateHz));
  const frames = beforeFrames + callFrames + maxLagFrames + windowFrames;
  const samples = await read({ startSec: job.onsetSec - beforeFrames / sampleRateHz, sliceFrames: frames, stepSec: 0, sliceCount: 1, tracks: chosen });
  const binHz = sampleRateHz / fftSize;
  const firstBin = Math.max(1, Math.round(info.bandHz[0] / binHz));
  const endBin = Math.min(fftSize / 2, Math.round(info.bandHz[1] / binHz) + 1);
  const groups = Math.ceil(trackCount / 4);
  const k = createKernels(kernels, 140 * fftSize * groups * 16 + 4 * groups * groups * fftSize * 32 + trackCount * frames * 4 + trackCount * trackCount * fftSize * 8 + (8 << 20));
  const plan = createCorrelationPlan(k, { fftSize, windowFrames, hopFrames: windowFrames / 4, trackCount, whitening: 'phase', maxLagFrames, upsample: 2, firstBin, endBin });
  const signal = k.allocF32(trackCount * frames);
  k.f32(signal, trackCount * frames).set(samples);
  const region: SignalRegion = { signal, trackStrideFrames: frames, trackCount, frameCount: frames };
  const noise = measureMeanPowers(k, plan.sums.stft, region, beforeFrames - windowFrames, 1, [firstBin, endBin]);
  const powers = measureMeanPowers(k, plan.sums.stft, region, beforeFrames, countCoveringSpectra(callFrames, windowFrames, windowFrames / 4), [firstBin, endBin]);
  const correlations = correlateRegion(k, plan, region, beforeFrames, callFrames, { weight: weighBins(k, powers[0], noise[0]) });
  const tracks = powers.map((power, j): TrackEvidence => {
    const peak = j === 0 ? { lagFrames: 0, value: 1 } : findPeak(k, plan, correlations, 0, j);
    const gainDb = info.tracks[chosen[j]].gainDb;
    const [all, before] = [sumBand(power, firstBin, endBin), sumBand(noise[j], firstBin, endBin)];
    const riseDb = 10 * Math.log10(all / Math.max(before, 1e-30));
    return {
      levelDb: all > before ? 10 * Math.log10((all - before) / plan.sums.stft.windowSquareSum / fftSize) - gainDb : -Infinity,
      riseDb: Number.isFinite(riseDb) ? riseDb : 0, likeness: Math.max(0, peak.value),
      ...(peak.value >= LEAST_LIKENESS && riseDb >= LEAST_RISE_DB ? { lagMs: (1000 * peak.lagFrames) / sampleRateHz } : {}),
      spectrumDb: Float32Array.from(power.subarray(firstBin, endBin), (p) => 10 * Math.log10(Math.max(p / plan.sums.stft.windowSquareSum, 1e-15)) - gainDb),
    };
  });
  const inOrder: TrackEvidence[] = [];
  chosen.forEach((track, j) => { inOrder[track] = tracks[j]; });
  for (let j = 0; j < info.tracks.length; j++) inOrder[j] ??= { levelDb: -Infinity, riseDb: 0, likeness: 0, spectrumDb: new Float32Array(0) };
  return { tracks: inOrder, firstHz: firstBin * binHz, binHz, own: job.own };
}

/** Only bins where the call stands out on its own track have a say in the lag; the noise of one window is ragged and is smoothed. */
function weighBins(k: Kernels, power: Float64Array, noise: Float64Array): number {
  const ptr = k.allocF32(power.length);
  const local = noise.map((_, b) => {
    const part = noise.subarray(Math.max(0, b - 6), b + 7);
    return part.reduce((s, v) => s + v, 0) / part.length;
  });
  k.f32(ptr, power.length).set(power.map((p, b) => (p > 4 * local[b] ? 1 : 0)));
  return ptr;
}

function sumBand(power: Float64Array, firstBin: number, endBin: number): number {
  let sum = 0;
  for (let b = firstBin; b < endBin; b++) sum += power[b];
  return sum;
}
