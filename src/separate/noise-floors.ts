import type { Ptr } from '../kernels/kernel-exports.js';
import { computeStft, countSpectraBytes, countWholeSpectra } from '../kernels/stft.js';
import { ln } from '../numeric/elementary.js';
import { takeLanes } from './section.js';
import type { SectionAnalyser } from './section.js';
import type { SeparationSettings } from './settings.js';
import { countChunkFrames } from './track-loader.js';

// A share of an exponential distribution (the power of Gaussian noise in a bin) lies below -ln(1 - share) times its mean.
const QUANTILE = 0.3;
const TO_MEAN = -1 / ln(1 - QUANTILE);
/** Windows are taken this far apart, seconds. */
const STEP_SEC = 0.08;
/** Least variance of a sample: below the rounding of 20 bits. */
const LEAST_VARIANCE = 1e-13;

function countStepFrames(sampleRateHz: number): number {
  return Math.max(1, Math.round(STEP_SEC * sampleRateHz));
}

/** Bytes of kernel memory that floors of blocks of up to `mostFrames` take for a time, the samples among them. */
export function countFloorBytes({ binCount, fftSize, sampleRateHz }: SeparationSettings, mostFrames: number, trackCount: number): number {
  const spectra = Math.ceil(mostFrames / countStepFrames(sampleRateHz)) + 1, samples = 4 * trackCount * Math.max(fftSize, countChunkFrames(sampleRateHz));
  return countSpectraBytes(binCount, trackCount, spectra) + spectra * (binCount + 1) * 16 + samples + spectra * 16 + (1 << 16);
}

/** Mean noise power per bin of every track over a stretch: a low quantile over time, scaled to the mean of exponential noise. Lost stretches do not count. */
export async function measureFloors(analyser: SectionAnalyser, startFrames: readonly number[], frameCount: number): Promise<Float32Array[]> {
  const { space: { k }, plan, settings: { binCount, sampleRateHz }, recorderOf: { length: trackCount } } = analyser, mark = k.mark(), out: Float32Array[] = [];
  const least = LEAST_VARIANCE * plan.windowSquareSum, spectrumCount = countWholeSpectra(frameCount, plan.fftSize, countStepFrames(sampleRateHz));
  // The quantiles want an even number of columns.
  const columns = binCount + (binCount & 1);
  (await takeSpectra(analyser, startFrames, spectrumCount)).forEach((ptr, g) => {
    const group = k.mark(), rows = k.alloc(16 * spectrumCount * columns), usable = k.alloc(16), floor = k.alloc(16 * columns);
    k.fn.powerRows(ptr, spectrumCount, binCount, columns, rows, usable);
    const counts = k.i32(usable, 4), isKnown = Array.from(counts, (n) => n > 0);
    counts.forEach((n, t) => { counts[t] = Math.round(QUANTILE * Math.max(0, n - 1)); });
    k.fn.lowQuantiles(rows, spectrumCount, columns, usable, 1, k.alloc(16 * spectrumCount), floor);
    takeLanes(k.f32(floor, 4 * binCount), Math.min(4, trackCount - 4 * g)).forEach((row, t) => out.push(row.map((v) => (isKnown[t] ? Math.max(least, TO_MEAN * v) : least))));
    k.release(group);
  });
  k.release(mark);
  return out;
}

/** Spectra of all tracks from sparse windows, in groups of four, in memory that is taken: a few windows at a time, so that samples need little of it. */
async function takeSpectra(analyser: SectionAnalyser, startFrames: readonly number[], spectrumCount: number): Promise<Ptr[]> {
  const { space: { k }, plan, settings: { sampleRateHz, binCount }, recorderOf } = analyser, hopFrames = countStepFrames(sampleRateHz), tracks = recorderOf.map((_, j) => j);
  const groups = Array.from({ length: Math.ceil(tracks.length / 4) }, () => k.alloc(countSpectraBytes(binCount, 4, spectrumCount)));
  const most = Math.max(1, countWholeSpectra(countChunkFrames(sampleRateHz), plan.fftSize, hopFrames));
  for (let done = 0; done < spectrumCount; done += most) {
    const mark = k.mark(), count = Math.min(most, spectrumCount - done);
    const regions = await analyser.load(startFrames.map((f) => f + done * hopFrames), (count - 1) * hopFrames + plan.fftSize, tracks);
    regions.forEach((region, g) => computeStft(k, { ...plan, hopFrames }, region, 0, count, groups[g] + countSpectraBytes(binCount, 4, done)));
    k.release(mark);
  }
  return groups;
}
