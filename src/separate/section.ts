import type { Ptr } from '../kernels/kernel-exports.js';
import { computeStft, countSpectraBytes, createStftPlan } from '../kernels/stft.js';
import type { SignalRegion, StftPlan } from '../kernels/stft.js';
import type { PlacedPlanes, PlaneSpace } from '../kernels/plane-space.js';
import { readOffset } from '../model/clock.js';
import { cosTurn, sinTurn } from '../numeric/elementary.js';
import type { ClockModel } from '../model/clock.js';
import type { SeparationSettings } from './settings.js';
import type { TrackLoader } from './track-loader.js';

/** A stretch of all tracks, and windows that stand at the same reference time on every track. */
export interface SectionSpan {
  /** First sample of the stretch on each track's own clock. */
  startFrames: number[];
  frameCount: number;
  /** Windows. */
  spectrumCount: number;
  /** Reference time of the middle of every window. */
  centreSec: Float64Array;
  /** How much later than its window the reference time stands on a track, seconds; undefined where it never does. */
  shiftSec: (Float64Array | undefined)[];
}

/** What one track holds in a section, in the kernels' memory. */
export interface TrackSpectra {
  planes: PlacedPlanes;
  /** |X|^2, and its mean over 3 frames and 3 bins, f32 [frame][width]. */
  power: Ptr;
  smooth: Ptr;
}

/** A stretch with the spectra of some tracks, which live until the memory is given back. */
export interface Section extends SectionSpan { tracks: ReadonlyMap<number, TrackSpectra> }

/** Longest stretch that an analyser takes, seconds. */
export const LONGEST_SECTION_SEC = 8;

/** Most windows of a section of some length. */
export function countMostWindows(settings: SeparationSettings, mostSec = LONGEST_SECTION_SEC): number {
  return Math.ceil((mostSec * settings.sampleRateHz) / settings.hopFrames) + 4;
}

/** Bytes of kernel memory for the tables, and for what an analyser takes for a time. */
export function countAnalyserBytes(settings: SeparationSettings, trackCount: number): number {
  // Spectra in lanes are of solo calls, of which every second window is taken.
  const windows = countMostWindows(settings), frames = windows * settings.hopFrames + settings.fftSize;
  return countSpectraBytes(settings.binCount, 4, windows) + frames * 4 * (trackCount + 8) + settings.fftSize * 128 + (1 << 20);
}

/** One row per lane of vectors. */
export function takeLanes(vectors: Float32Array, laneCount: number): Float32Array[] {
  return Array.from({ length: laneCount }, (_, t) => {
    const row = new Float32Array(vectors.length / 4);
    for (let b = 0, i = t; b < row.length; b++, i += 4) row[b] = vectors[i];
    return row;
  });
}

/** Cuts sections out of the tracks and turns spectra back into samples. */
export class SectionAnalyser {
  readonly plan: StftPlan;

  /** @param recorderOf index of each track's recorder in the clock model */
  constructor(readonly space: PlaneSpace, readonly settings: SeparationSettings, readonly recorderOf: readonly number[], private readonly clock: ClockModel, private readonly loader: TrackLoader) {
    this.plan = createStftPlan(space.k, { fftSize: settings.fftSize, hopFrames: settings.hopFrames });
  }

  /** First frame of each track's own clock at a reference time. */
  placeFrames(tRefSec: number): number[] {
    return this.recorderOf.map((r) => Math.round((tRefSec + readOffset(this.clock[r], tRefSec)) * this.settings.sampleRateHz));
  }

  /** Windows from a reference time to another with `leadFrames` before and a window behind; at most LONGEST_SECTION_SEC. */
  planSpan(fromSec: number, toSec: number, leadFrames: number): SectionSpan {
    const { sampleRateHz, fftSize, hopFrames } = this.settings;
    const startSec = Math.floor(fromSec * sampleRateHz - leadFrames) / sampleRateHz;
    const spanSec = Math.min(toSec - startSec, LONGEST_SECTION_SEC);
    const spectrumCount = Math.max(1, Math.ceil((spanSec * sampleRateHz) / hopFrames));
    const frameCount = (spectrumCount - 1) * hopFrames + fftSize;
    const startFrames = this.placeFrames(startSec);
    const centreSec = Float64Array.from({ length: spectrumCount }, (_, s) => startSec + (s * hopFrames + fftSize / 2) / sampleRateHz);
    const shiftSec = this.recorderOf.map((r, j) => this.findShift(r, startFrames[j], centreSec));
    return { startFrames, frameCount, spectrumCount, centreSec, shiftSec };
  }

  /** Spectra and powers of some tracks of a stretch, in memory that is taken. */
  async cut(span: SectionSpan, wanted: ReadonlySet<number>): Promise<Section> {
    const { space: { k }, space } = this, { startFrames, frameCount, spectrumCount, shiftSec } = span, tracks = new Map<number, TrackSpectra>(), todo = [...wanted].sort((a, b) => a - b);
    const all = space.createPlanes(spectrumCount, todo.length), powers = space.createRows(spectrumCount * todo.length), rowsBytes = 4 * spectrumCount * space.width, smooths = space.createRows(spectrumCount * todo.length), mark = k.mark();
    const signals = await this.load(startFrames, frameCount, todo), { fftSize, hopFrames, window, table } = this.plan, scratch = k.alloc(16 * (3 * fftSize + 8));
    signals.forEach(({ signal, trackStrideFrames, trackCount }, g) => k.fn.stftPlanes(
      signal, trackStrideFrames, trackCount, frameCount, hopFrames, spectrumCount, fftSize, window, table, scratch, space.width, all[4 * g].ptr, powers + 4 * g * rowsBytes,
    ));
    k.release(mark);
    todo.forEach((j, t) => {
      const planes = all[t], power = powers + t * rowsBytes, smooth = smooths + t * rowsBytes;
      if (shiftSec[j]) this.turnPhases(planes, shiftSec[j]!, 1);
      space.smooth(power, spectrumCount, smooth);
      tracks.set(j, { planes, power, smooth });
    });
    return { ...span, tracks };
  }

  /** Samples of some tracks, in groups of four, in memory that is taken. */
  async load(startFrames: readonly number[], frameCount: number, tracks: readonly number[]): Promise<SignalRegion[]> {
    const signal = this.space.k.allocF32(tracks.length * frameCount), groups: SignalRegion[] = [];
    for (let g = 0; g < tracks.length; g += 4) groups.push({ signal: signal + 4 * g * frameCount, trackStrideFrames: frameCount, trackCount: Math.min(4, tracks.length - g), frameCount });
    await this.loader.load(startFrames, frameCount, tracks, signal, frameCount);
    return groups;
  }

  /** Mean power per bin of all tracks over a stretch as `planSpan` takes it, from every second window. */
  async measureMeans(fromSec: number, toSec: number, leadFrames: number): Promise<Float32Array[]> {
    const { space: { k }, settings: { sampleRateHz, fftSize, hopFrames, binCount } } = this, startSec = Math.floor(fromSec * sampleRateHz - leadFrames) / sampleRateHz, out: Float32Array[] = [], mark = k.mark();
    const spectrumCount = Math.max(1, Math.ceil((Math.min(toSec - startSec, LONGEST_SECTION_SEC) * sampleRateHz) / (2 * hopFrames))), frameCount = (spectrumCount - 1) * 2 * hopFrames + fftSize;
    for (const region of await this.load(this.placeFrames(startSec), frameCount, this.recorderOf.map((_, j) => j))) {
      const { ptr } = computeStft(k, { ...this.plan, hopFrames: 2 * hopFrames }, region, 0, spectrumCount), mean = k.alloc(16 * binCount);
      k.fn.meanPower(ptr, spectrumCount, binCount, mean);
      out.push(...takeLanes(k.f32(mean, 4 * binCount), region.trackCount));
    }
    k.release(mark);
    return out;
  }

  /** Samples that belong to spectra of some tracks of a section, each frameCount long, in memory that is taken; the spectra lie one behind the other and are written to. */
  synthesise({ frameCount, spectrumCount, shiftSec }: SectionSpan, tracks: readonly number[], spectra: readonly PlacedPlanes[]): Float32Array[] {
    const { space: { k, width } } = this, { fftSize, hopFrames, window, table } = this.plan, out: Float32Array[] = [];
    spectra.forEach((x, n) => { if (shiftSec[tracks[n]]) this.turnPhases(x, shiftSec[tracks[n]]!, -1); });
    for (let g = 0; g < spectra.length; g += 4) {
      const count = Math.min(4, spectra.length - g), signal = k.allocF32(count * frameCount), mark = k.mark();
      k.fn.istftPlanes(spectra[g].ptr, spectrumCount, count, fftSize, hopFrames, window, table, k.alloc(16 * (3 * fftSize + 8)), width, k.allocF32(frameCount), signal, frameCount, frameCount);
      k.release(mark);
      for (let t = 0; t < count; t++) out.push(k.f32(signal + 4 * t * frameCount, frameCount));
    }
    return out;
  }

  /** Where a recorder's clock differs, windows cannot stand at whole frames: the rest is a phase. */
  private findShift(recorder: number, startFrame: number, centreSec: Float64Array): Float64Array | undefined {
    if (recorder === 0) return undefined;
    const { sampleRateHz, fftSize, hopFrames } = this.settings;
    return centreSec.map((t, s) => t + readOffset(this.clock[recorder], t) - (startFrame + s * hopFrames + fftSize / 2) / sampleRateHz);
  }

  private turnPhases({ ptr, frameCount }: PlacedPlanes, shiftSec: Float64Array, sign: number): void {
    const { space: { k, width }, settings: { sampleRateHz, fftSize } } = this, mark = k.mark(), step = k.alloc(16 * frameCount), values = k.f64(step, 2 * frameCount);
    for (let s = 0; s < frameCount; s++) {
      const turns = (sign * sampleRateHz * shiftSec[s]) / fftSize;
      values[2 * s] = cosTurn(turns); values[2 * s + 1] = sinTurn(turns);
    }
    k.fn.turnPhases(ptr, frameCount, width, step);
    k.release(mark);
  }
}
