import { correlateRegion, createCorrelationPlan, findPeak } from '../kernels/correlation.js';
import type { CorrelationPlan } from '../kernels/correlation.js';
import { createKernels } from '../kernels/kernels.js';
import type { Kernels } from '../kernels/kernels.js';
import { countCoveringSpectra } from '../kernels/cross-spectra.js';
import { measureMeanPowers } from '../kernels/mean-powers.js';
import type { SignalRegion } from '../kernels/stft.js';
import type { CallRow, ClockRow } from '../schema/rows.js';
import type { StudyAudio } from '../study/study-audio.js';
import { NO_TAG } from './bird-order.js';
import { readAligned } from './read-aligned.js';
import type { AlignedStretch } from './read-aligned.js';
import type { EvidencePoint } from './report-input.js';

export interface EvidenceOptions {
  clock: readonly ClockRow[];
  gainsDb: Readonly<Record<string, number>>;
  bandHz: readonly [number, number];
  /** Largest lag looked for, seconds; default 0.0075 (2.5 m). */
  maxLagSec?: number;
  /** Most calls measured, taken evenly over time. Default 200. */
  mostCalls?: number;
}

/** Quiet stretch before a call that tells the noise, seconds. */
const BEFORE_SEC = 0.08;
/** Correlation below which two tracks are not taken to hear the same sound, and rise over the noise that a level needs. */
const LEAST_CORRELATION = 0.12;
const LEAST_RISE = 2;

/**
 * How sure calls reached the other tracks: lag by phase-weighted correlation (Knapp and Carter 1976) and level within the band, the noise just before
 * the call taken off. Only calls of probability 0.9 or more that overlap no other are measured, and only tracks that plainly hear the same sound count.
 * It is measured anew from the sound, so that it witnesses for or against the table.
 */
export async function measureEvidence(module: WebAssembly.Module, audio: StudyAudio, calls: readonly CallRow[], options: EvidenceOptions): Promise<EvidencePoint[]> {
  const { tracks, sampleRateHz } = audio.timeline;
  if (tracks.length < 2 || tracks.length > 16) return [];
  const known = new Set(tracks.map((t) => t.bird));
  const sure = calls.filter((c) => c.bird !== NO_TAG && known.has(c.bird) && c.probability >= 0.9 && c.overlaps === 0 && c.offsetSec - c.onsetSec < 2);
  const chosen = takeEvenly(sure, options.mostCalls ?? 200);
  const meter = new PairMeter(module, tracks.length, sampleRateHz, options);
  const points: EvidencePoint[] = [];
  for (const call of chosen) {
    const startSec = Math.max(0, call.onsetSec - BEFORE_SEC);
    const length = Math.round((call.offsetSec - startSec) * sampleRateHz) + meter.maxLagFrames;
    const stretch = await readAligned(audio, options.clock, startSec, length);
    const own = tracks.findIndex((t) => t.bird === call.bird);
    const onsetFrame = Math.round((call.onsetSec - startSec) * sampleRateHz);
    for (const { other, lagSec, leadDb } of meter.measure(stretch, own, onsetFrame)) {
      const gain = (bird: string): number => options.gainsDb[bird] ?? 0;
      const track = tracks[other].bird;
      points.push({ callId: call.callId, bird: call.bird, track, lagMs: 1000 * lagSec, rawLeadDb: leadDb, leadDb: leadDb - gain(call.bird) + gain(track) });
    }
  }
  return points;
}

interface PairReading { other: number; lagSec: number; leadDb: number }

class PairMeter {
  readonly maxLagFrames: number;
  private readonly k: Kernels;
  private readonly plan: CorrelationPlan;
  private readonly base: number;
  private readonly windowFrames: number;

  constructor(module: WebAssembly.Module, private readonly trackCount: number, private readonly sampleRateHz: number, options: EvidenceOptions) {
    const fftSize = Math.min(4096, 2 ** Math.round(Math.log2(0.064 * sampleRateHz)));
    this.windowFrames = fftSize / 2;
    this.maxLagFrames = Math.min(fftSize / 2, Math.ceil((options.maxLagSec ?? 0.0075) * sampleRateHz));
    const binHz = sampleRateHz / fftSize;
    const groups = Math.ceil(trackCount / 4);
    this.k = createKernels(module, 70 * fftSize * groups * 16 + 4 * groups * groups * fftSize * 32 + trackCount * 3 * sampleRateHz * 4 + trackCount * trackCount * fftSize * 8 + (4 << 20));
    this.plan = createCorrelationPlan(this.k, {
      fftSize, windowFrames: this.windowFrames, hopFrames: this.windowFrames / 4, trackCount, whitening: 'phase', maxLagFrames: this.maxLagFrames, upsample: 2,
      firstBin: Math.max(1, Math.round(options.bandHz[0] / binHz)), endBin: Math.min(fftSize / 2, Math.round(options.bandHz[1] / binHz) + 1),
    });
    this.base = this.k.mark();
  }

  measure(stretch: AlignedStretch, own: number, onsetFrame: number): PairReading[] {
    const { k, plan, trackCount, sampleRateHz } = this;
    k.release(this.base);
    const length = stretch.frameCount;
    const signal = k.allocF32(trackCount * length);
    stretch.signals.forEach((x, j) => k.f32(signal + 4 * j * length, length).set(x));
    const region = { signal, trackStrideFrames: length, trackCount, frameCount: length };
    const noise = this.readPowers(region, Math.max(0, onsetFrame - this.windowFrames), 1);
    const callFrames = length - onsetFrame - this.maxLagFrames;
    const powers = this.readPowers(region, onsetFrame, countCoveringSpectra(callFrames, this.windowFrames, plan.sums.stft.hopFrames));
    const r = correlateRegion(k, plan, region, onsetFrame, callFrames, { weight: this.weighBins(powers[own], noise[own]) });
    const levels = powers.map((p, j) => sum(p) - sum(noise[j]));
    const found: PairReading[] = [];
    for (let other = 0; other < trackCount; other++) {
      if (other === own || !(sum(powers[other]) > LEAST_RISE * sum(noise[other])) || !(levels[own] > 0)) continue;
      const peak = findPeak(k, plan, r, own, other);
      if (!(peak.value >= LEAST_CORRELATION)) continue;
      const lagSec = peak.lagFrames / sampleRateHz + stretch.restSec[other] - stretch.restSec[own];
      found.push({ other, lagSec, leadDb: 10 * Math.log10(levels[own] / levels[other]) });
    }
    return found;
  }

  /** Mean power per bin of every track over `count` windows. */
  private readPowers(region: SignalRegion, firstFrame: number, count: number): Float64Array[] {
    const { firstBin, endBin, stft } = this.plan.sums;
    return measureMeanPowers(this.k, stft, region, firstFrame, count, [firstBin, endBin]);
  }

  /** Only bins where the call stands out on its own track have a say in the lag. */
  private weighBins(power: Float64Array, noise: Float64Array): number {
    const ptr = this.k.allocF32(power.length);
    // Smoothed over neighbours: the noise of a single window is ragged.
    const local = noise.map((_, b) => mean(noise, b - 6, b + 7));
    this.k.f32(ptr, power.length).set(power.map((p, b) => (p > 4 * local[b] ? 1 : 0)));
    return ptr;
  }
}

function sum(values: Float64Array): number {
  return values.reduce((s, v) => s + v, 0);
}

function mean(values: Float64Array, from: number, to: number): number {
  const part = values.subarray(Math.max(0, from), to);
  return sum(part) / Math.max(1, part.length);
}

function takeEvenly<T>(rows: readonly T[], most: number): T[] {
  if (rows.length <= most) return [...rows];
  return Array.from({ length: most }, (_, k) => rows[Math.floor(((k + 0.5) * rows.length) / most)]);
}
