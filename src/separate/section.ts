import type { Ptr } from '../kernels/kernel-exports.js';
import type { Kernels } from '../kernels/kernels.js';
import { computeIstft, computePower, computeStft, countSpectraBytes, createStftPlan, placeSamples, placeSpectra } from '../kernels/stft.js';
import type { StftPlan } from '../kernels/stft.js';
import { readOffset } from '../model/clock.js';
import { cosTurn, sinTurn } from '../numeric/elementary.js';
import type { ClockModel } from '../model/clock.js';
import { createPlanes, smoothPower } from './planes.js';
import type { Planes } from './planes.js';
import type { SeparationSettings } from './settings.js';

/** Gives samples of all tracks, each from its own first frame on; what does not exist is 0. */
export type TrackSource = (startFrames: readonly number[], frameCount: number) => Promise<Float32Array[]>;

/** A stretch of all tracks as spectra whose windows stand at the same reference time on every track. */
export interface Section {
  /** First sample of the stretch on each track's own clock. */
  startFrames: number[];
  frameCount: number;
  /** Windows. */
  spectrumCount: number;
  tracks: Planes[];
  /** Reference time of the middle of every window. */
  centreSec: Float64Array;
  /** How much later than its window the reference time stands on a track, seconds; undefined where it never does. */
  shiftSec: (Float64Array | undefined)[];
}

const smoothed = new WeakMap<Planes, Float32Array>();

/** Smoothed power of a section's track, worked out once and not to be written to; spectra of a section do not change. */
export function smoothTrack(section: Section, track: number): Float32Array {
  const x = section.tracks[track], known = smoothed.get(x) ?? smoothPower(x);
  smoothed.set(x, known);
  return known;
}

/** Longest stretch that an analyser takes, seconds. */
export const LONGEST_SECTION_SEC = 8;

/** Most windows of a section. */
export function countMostWindows(settings: SeparationSettings): number {
  return Math.ceil((LONGEST_SECTION_SEC * settings.sampleRateHz) / settings.hopFrames) + 4;
}

/** Bytes of kernel memory that an analyser needs. */
export function countAnalyserBytes(settings: SeparationSettings): number {
  const frames = Math.ceil(LONGEST_SECTION_SEC * settings.sampleRateHz) + 4 * settings.fftSize;
  const spectra = Math.ceil(frames / settings.hopFrames);
  return 2 * countSpectraBytes(settings.binCount, 4, spectra) + frames * 4 * 5 + settings.fftSize * 64 + (1 << 20);
}

/** Cuts sections out of the tracks and turns spectra back into samples. */
export class SectionAnalyser {
  private readonly plan: StftPlan;
  private readonly base: number;
  /** Sum of the window's squares: white noise of variance v has the power v times this in every bin. */
  readonly windowSquareSum: number;

  /** @param recorderOf index of each track's recorder in the clock model */
  constructor(private readonly k: Kernels, readonly settings: SeparationSettings, readonly recorderOf: readonly number[], private readonly clock: ClockModel, private readonly source: TrackSource) {
    this.plan = createStftPlan(k, { fftSize: settings.fftSize, hopFrames: settings.hopFrames });
    this.windowSquareSum = this.plan.windowSquareSum;
    this.base = k.mark();
  }

  /** First frame of each track's own clock at a reference time. */
  placeFrames(tRefSec: number): number[] {
    return this.recorderOf.map((r) => Math.round((tRefSec + readOffset(this.clock[r], tRefSec)) * this.settings.sampleRateHz));
  }

  /**
   * Section from a reference time to another with `leadFrames` before and a window behind; at most LONGEST_SECTION_SEC.
   * @param wanted tracks whose spectra are needed; the others are empty planes
   */
  async cut(fromSec: number, toSec: number, leadFrames: number, wanted?: ReadonlySet<number>): Promise<Section> {
    const { sampleRateHz, fftSize, hopFrames } = this.settings;
    const startSec = Math.floor(fromSec * sampleRateHz - leadFrames) / sampleRateHz;
    const spanSec = Math.min(toSec - startSec, LONGEST_SECTION_SEC);
    const spectrumCount = Math.max(1, Math.ceil((spanSec * sampleRateHz) / hopFrames));
    const frameCount = (spectrumCount - 1) * hopFrames + fftSize;
    const startFrames = this.placeFrames(startSec);
    const samples = await this.source(startFrames, frameCount);
    const centreSec = Float64Array.from({ length: spectrumCount }, (_, s) => startSec + (s * hopFrames + fftSize / 2) / sampleRateHz);
    const shiftSec = this.recorderOf.map((r, j) => this.findShift(r, startFrames[j], centreSec));
    const section: Section = { startFrames, frameCount, spectrumCount, tracks: [], centreSec, shiftSec };
    section.tracks = this.analyse(samples, spectrumCount, wanted);
    section.tracks.forEach((x, j) => { if (x.frameCount > 0 && shiftSec[j]) this.turnPhases(x, shiftSec[j]!, 1); });
    return section;
  }

  /** Mean power per bin of all tracks over a stretch as `cut` takes it, from every second window. */
  async measureMeans(fromSec: number, toSec: number, leadFrames: number): Promise<Float32Array[]> {
    const { k, plan, settings: { sampleRateHz, fftSize, hopFrames, binCount } } = this, startSec = Math.floor(fromSec * sampleRateHz - leadFrames) / sampleRateHz;
    const spectrumCount = Math.max(1, Math.ceil((Math.min(toSec - startSec, LONGEST_SECTION_SEC) * sampleRateHz) / (2 * hopFrames))), frameCount = (spectrumCount - 1) * 2 * hopFrames + fftSize;
    const samples = await this.source(this.placeFrames(startSec), frameCount), out: Float32Array[] = [];
    for (let g = 0; g < samples.length; g += 4) {
      k.release(this.base);
      const power = computePower(k, computeStft(k, { ...plan, hopFrames: 2 * hopFrames }, placeSamples(k, samples.slice(g, g + 4)), 0, spectrumCount), 1 / spectrumCount);
      for (let row = 0; row * binCount < power.length; row++) {
        if (row % spectrumCount === 0) out.push(new Float32Array(binCount));
        const mean = out[out.length - 1];
        for (let b = 0, i = row * binCount; b < binCount; b++, i++) mean[b] += power[i];
      }
    }
    return out;
  }

  /** Samples that belong to spectra of some tracks of a section, each frameCount long. */
  synthesise(section: Section, tracks: readonly number[], spectra: readonly Planes[]): Float32Array[] {
    const { k, plan, settings: { binCount } } = this, { frameCount, shiftSec } = section, out: Float32Array[] = [];
    spectra.forEach((x, n) => { if (shiftSec[tracks[n]]) this.turnPhases(x, shiftSec[tracks[n]]!, -1); });
    for (let g = 0; g < spectra.length; g += 4) {
      k.release(this.base);
      const group = spectra.slice(g, g + 4), placed = placeSpectra(k, binCount, group.length, section.spectrumCount), { planes, values, part } = this.placePlanes(section.spectrumCount);
      values.fill(0, group.length * 2 * part);
      group.forEach((x, t) => { values.set(x.re, 2 * t * part); values.set(x.im, (2 * t + 1) * part); });
      k.fn.spectraFromPlanes(planes, section.spectrumCount, binCount, placed.ptr);
      const samples = computeIstft(k, plan, placed, frameCount);
      for (let t = 0; t < group.length; t++) out.push(samples.slice(t * frameCount, (t + 1) * frameCount));
    }
    return out;
  }

  private analyse(samples: readonly Float32Array[], spectrumCount: number, wanted?: ReadonlySet<number>): Planes[] {
    const { k, plan, settings: { binCount } } = this;
    const empty = createPlanes(0, binCount);
    const out: Planes[] = samples.map(() => empty);
    const todo = samples.map((_, j) => j).filter((j) => !wanted || wanted.has(j));
    for (let g = 0; g < todo.length; g += 4) {
      k.release(this.base);
      const group = todo.slice(g, g + 4);
      const { ptr } = computeStft(k, plan, placeSamples(k, group.map((j) => samples[j])), 0, spectrumCount);
      const { planes, values, part } = this.placePlanes(spectrumCount);
      k.fn.planesFromSpectra(ptr, spectrumCount, binCount, planes);
      group.forEach((j, t) => { out[j] = { re: values.slice(2 * t * part, (2 * t + 1) * part), im: values.slice((2 * t + 1) * part, (2 * t + 2) * part), frameCount: spectrumCount, binCount }; });
    }
    return out;
  }

  /** Planes of four tracks in the kernels' memory, real before imaginary parts, `part` values each. */
  private placePlanes(spectrumCount: number): { planes: Ptr; values: Float32Array; part: number } {
    const part = spectrumCount * this.settings.binCount, planes = this.k.allocF32(8 * part);
    return { planes, values: this.k.f32(planes, 8 * part), part };
  }

  /** Where a recorder's clock differs, windows cannot stand at whole frames: the rest is a phase. */
  private findShift(recorder: number, startFrame: number, centreSec: Float64Array): Float64Array | undefined {
    if (recorder === 0) return undefined;
    const { sampleRateHz, fftSize, hopFrames } = this.settings;
    return centreSec.map((t, s) => t + readOffset(this.clock[recorder], t) - (startFrame + s * hopFrames + fftSize / 2) / sampleRateHz);
  }

  private turnPhases(x: Planes, shiftSec: Float64Array, sign: number): void {
    const { sampleRateHz, fftSize } = this.settings;
    for (let s = 0, i = 0; s < x.frameCount; s++) {
      const turns = (sign * sampleRateHz * shiftSec[s]) / fftSize, stepRe = cosTurn(turns), stepIm = sinTurn(turns);
      for (let b = 0, c = 1, d = 0; b < x.binCount; b++, i++) {
        const re = x.re[i], im = x.im[i], next = c * stepRe - d * stepIm;
        x.re[i] = re * c - im * d; x.im[i] = re * d + im * c;
        d = c * stepIm + d * stepRe; c = next;
      }
    }
  }
}
