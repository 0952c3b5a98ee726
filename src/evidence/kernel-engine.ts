import type { Kernels } from '../kernels/kernels.js';
import { computeStftPower, countSpectraBytes, createStftPlan } from '../kernels/stft.js';
import { countStretchBytes, createLagTransform, StretchKernels } from '../kernels/stretch-kernels.js';
import type { AnalysisSettings } from './settings.js';
import type { SpectralEngine, StretchSpectra } from './spectra.js';

/** Bytes of kernel memory that an engine needs for stretches of up to `mostFrames` samples on `trackCount` tracks. */
export function countEngineBytes(settings: AnalysisSettings, trackCount: number, mostFrames: number): number {
  const spectra = Math.floor((mostFrames - 1) / settings.hopFrames) + 1;
  const bins = settings.fftSize / 2 + 1;
  return countSpectraBytes(countKeptBins(settings), trackCount, spectra) + trackCount * spectra * bins * 4 + trackCount * mostFrames * 4
    + countStretchBytes(trackCount, spectra, bins, mostFrames) + (1 << 20);
}

/** Phases are asked for inside the band only. */
function countKeptBins(settings: AnalysisSettings): number {
  return Math.min(settings.fftSize / 2 + 1, settings.bandBins[1]);
}

/** Spectra by the kernels. The result of `analyse` is a view into the kernels' memory that the next call overwrites. */
export function createKernelEngine(k: Kernels, settings: AnalysisSettings): SpectralEngine {
  const plan = createStftPlan(k, { fftSize: settings.fftSize, hopFrames: settings.hopFrames });
  const lagTransform = createLagTransform(k, settings.fftSize);
  const keptBins = countKeptBins(settings);
  const base = k.mark();
  const placeSignals = (trackCount: number, lengthFrames: number): { ptr: number; signals: Float32Array[] } => {
    k.release(base);
    const ptr = k.allocF32(trackCount * lengthFrames);
    return { ptr, signals: Array.from({ length: trackCount }, (_, j) => k.f32(ptr + j * lengthFrames * 4, lengthFrames)) };
  };
  return {
    placeSignals,
    analyse(signals, lengthFrames): StretchSpectra {
      const trackCount = signals.length;
      const binCount = plan.binCount;
      const frameCount = Math.floor((lengthFrames - 1) / settings.hopFrames) + 1;
      const { ptr: signal, signals: places } = placeSignals(trackCount, lengthFrames);
      signals.forEach((x, j) => { if (x.buffer !== places[j].buffer || x.byteOffset !== places[j].byteOffset) places[j].set(x.subarray(0, lengthFrames)); });
      const region = { signal, trackStrideFrames: lengthFrames, trackCount, frameCount: lengthFrames };
      const powerScale = 1 / plan.windowSquareSum;
      const { spectra, power: powerPtr } = computeStftPower(k, plan, region, -settings.fftSize / 2, frameCount, powerScale, keptBins);
      const power = signals.map((_, j) => k.f32(powerPtr + j * frameCount * binCount * 4, frameCount * binCount));
      const kernels = new StretchKernels(k, { trackCount, frameCount, binCount, power: powerPtr, powerScale, spectra: spectra.ptr, keptBins, signal: region }, lagTransform);
      return { trackCount, frameCount, binCount, groupCount: spectra.groupCount, keptBins, complex: spectra.values, power, kernels };
    },
  };
}
