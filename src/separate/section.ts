import type { Ptr } from '../kernels/kernel-exports.js';
import { computeIstft, computeStft, countSpectraBytes, createStftPlan, placeSamples, placeSpectra } from '../kernels/stft.js';
import type { StftPlan } from '../kernels/stft.js';
import type { PlacedPlanes, PlaneSpace } from '../kernels/plane-space.js';
import { readOffset } from '../model/clock.js';
import { cosTurn, sinTurn } from '../numeric/elementary.js';
import type { ClockModel } from '../model/clock.js';
import type { SeparationSettings } from './settings.js';

/** Gives samples of all tracks, each from its own first frame on; what does not exist is 0. Tracks that are not among `wanted` may be empty. */
export type TrackSource = (startFrames: readonly number[], frameCount: number, wanted?: ReadonlySet<number>) => Promise<Float32Array[]>;

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
export function countAnalyserBytes(settings: SeparationSettings): number {
  const windows = countMostWindows(settings);
  return countSpectraBytes(settings.binCount, 4, windows) + (windows * settings.hopFrames + settings.fftSize) * 4 * 5 + settings.fftSize * 64 + (1 << 20);
}

/** Cuts sections out of the tracks and turns spectra back into samples. */
export class SectionAnalyser {
  readonly plan: StftPlan;

  /** @param recorderOf index of each track's recorder in the clock model */
  constructor(readonly space: PlaneSpace, readonly settings: SeparationSettings, readonly recorderOf: readonly number[], private readonly clock: ClockModel, private readonly source: TrackSource) {
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
    const { space: { k }, space } = this, { startFrames, frameCount, spectrumCount, shiftSec } = span;
    const samples = await this.source(startFrames, frameCount, wanted), todo = samples.map((_, j) => j).filter((j) => wanted.has(j)), tracks = new Map<number, TrackSpectra>();
    for (let g = 0; g < todo.length; g += 4) {
      const group = todo.slice(g, g + 4), all = space.createPlanes(spectrumCount, group.length), mark = k.mark();
      const { ptr } = computeStft(k, this.plan, placeSamples(k, group.map((j) => samples[j])), 0, spectrumCount);
      k.fn.planesFromSpectra(ptr, spectrumCount, space.binCount, group.length, space.width, all[0].ptr);
      k.release(mark);
      group.forEach((j, t) => {
        if (shiftSec[j]) this.turnPhases(all[t], shiftSec[j]!, 1);
        const power = space.measurePower(all[t]), smooth = space.createRows(spectrumCount);
        space.smooth(power, spectrumCount, smooth);
        tracks.set(j, { planes: all[t], power, smooth });
      });
    }
    return { ...span, tracks };
  }

  /** Mean power per bin of all tracks over a stretch as `planSpan` takes it, from every second window. */
  async measureMeans(fromSec: number, toSec: number, leadFrames: number): Promise<Float32Array[]> {
    const { space: { k }, settings: { sampleRateHz, fftSize, hopFrames, binCount } } = this, startSec = Math.floor(fromSec * sampleRateHz - leadFrames) / sampleRateHz;
    const spectrumCount = Math.max(1, Math.ceil((Math.min(toSec - startSec, LONGEST_SECTION_SEC) * sampleRateHz) / (2 * hopFrames))), frameCount = (spectrumCount - 1) * 2 * hopFrames + fftSize;
    const samples = await this.source(this.placeFrames(startSec), frameCount), out: Float32Array[] = [];
    for (let g = 0; g < samples.length; g += 4) {
      const mark = k.mark(), group = samples.slice(g, g + 4), { ptr } = computeStft(k, { ...this.plan, hopFrames: 2 * hopFrames }, placeSamples(k, group), 0, spectrumCount), mean = k.alloc(16 * binCount);
      k.fn.meanPower(ptr, spectrumCount, binCount, mean);
      const values = k.f32(mean, 4 * binCount);
      group.forEach((_, t) => out.push(Float32Array.from({ length: binCount }, (_v, b) => values[4 * b + t])));
      k.release(mark);
    }
    return out;
  }

  /** Samples that belong to spectra of some tracks of a section, each frameCount long; the spectra lie one behind the other and are written to. */
  synthesise({ frameCount, spectrumCount, shiftSec }: SectionSpan, tracks: readonly number[], spectra: readonly PlacedPlanes[]): Float32Array[] {
    const { space: { k, binCount, width } } = this, out: Float32Array[] = [];
    spectra.forEach((x, n) => { if (shiftSec[tracks[n]]) this.turnPhases(x, shiftSec[tracks[n]]!, -1); });
    for (let g = 0; g < spectra.length; g += 4) {
      const mark = k.mark(), count = Math.min(4, spectra.length - g), placed = placeSpectra(k, binCount, count, spectrumCount);
      k.fn.spectraFromPlanes(spectra[g].ptr, spectrumCount, binCount, count, width, placed.ptr);
      const samples = computeIstft(k, this.plan, placed, frameCount);
      for (let t = 0; t < count; t++) out.push(samples.slice(t * frameCount, (t + 1) * frameCount));
      k.release(mark);
    }
    return out;
  }

  /** Where a recorder's clock differs, windows cannot stand at whole frames: the rest is a phase. */
  private findShift(recorder: number, startFrame: number, centreSec: Float64Array): Float64Array | undefined {
    if (recorder === 0) return undefined;
    const { sampleRateHz, fftSize, hopFrames } = this.settings;
    return centreSec.map((t, s) => t + readOffset(this.clock[recorder], t) - (startFrame + s * hopFrames + fftSize / 2) / sampleRateHz);
  }

  private turnPhases(x: PlacedPlanes, shiftSec: Float64Array, sign: number): void {
    const { space: { binCount, width }, settings: { sampleRateHz, fftSize } } = this, values = this.space.viewRows(x.ptr, 2 * x.frameCount);
    for (let s = 0; s < x.frameCount; s++) {
      const turns = (sign * sampleRateHz * shiftSec[s]) / fftSize, stepRe = cosTurn(turns), stepIm = sinTurn(turns);
      for (let b = 0, c = 1, d = 0, i = s * width, n = i + x.frameCount * width; b < binCount; b++, i++, n++) {
        const re = values[i], im = values[n], next = c * stepRe - d * stepIm;
        values[i] = re * c - im * d; values[n] = re * d + im * c;
        d = c * stepIm + d * stepRe; c = next;
      }
    }
  }
}
