import { findLowQuantiles } from '../evidence/floors.js';
import { SmallFft } from '../evidence/small-fft.js';

/** Steady sound that stands out of a track's noise: a fan, a whistle, an electrical tone. */
export interface SteadySound {
  /** Edges of the loudest stretch of frequencies, as far as it is within 30 dB of its loudest, Hz. */
  fromHz: number;
  toHz: number;
  /** How far it stands above the median noise of the call band at its loudest, dB; a pure tone reads 5 dB more, for its power does not vary as that of noise. */
  aboveDb: number;
  /** Further stretches. */
  otherCount: number;
  /** Share of the noise power in the call band that stands out, 0 to 1. */
  noiseShare: number;
}

/** Frames taken of a second at first, how many are enough to tell what is steady, and how many are kept: then every other one goes, and fewer are taken. */
const FRAMES_PER_SECOND = 4;
const LEAST_FRAMES = 24;
const MOST_FRAMES = 480;
/** Length of a frame, seconds: lines of 25 Hz. */
const FRAME_SEC = 0.04;
/** What stands so many times above the median stands out; noise that falls gently over the band stays below. */
const OVER_MEDIAN = 8;
/** It is told when it is so much of the noise. */
const LEAST_SHARE = 0.5;
/** Edges are told as far as they are so near the loudest: beyond lie the skirts of the window. */
const NEAR_PEAK = 0.001;
/** Stretches closer than this are one, Hz. */
const BRIDGE_HZ = 80;

/** Collects spectra of pieces of sound and finds what stands out of the noise at all times: calls come and go, a quarter of the quietest moments tells. */
export class SteadyMeter {
  private readonly fft: SmallFft;
  private readonly window: Float64Array;
  private rows: Float32Array[] = [];
  private stepFrames: number;
  /** Frames to go until the next one is taken. */
  private wait = 0;

  constructor(private readonly sampleRateHz: number, private readonly bandHz: readonly [number, number]) {
    this.fft = new SmallFft(2 ** Math.max(3, Math.round(Math.log2(FRAME_SEC * sampleRateHz))));
    this.stepFrames = Math.max(1, Math.floor(sampleRateHz / FRAMES_PER_SECOND));
    this.window = Float64Array.from({ length: this.fft.size }, (_, i) => 0.5 - 0.5 * Math.cos((2 * Math.PI * i) / this.fft.size));
  }

  /** Adds a piece of sound: a second or some. */
  add(samples: Float32Array): void {
    const { size } = this.fft;
    let from = this.wait;
    for (; from + size <= samples.length; from += this.stepFrames) this.addFrame(samples.subarray(from, from + size));
    this.wait = Math.max(0, from - samples.length);
    if (this.rows.length < MOST_FRAMES) return;
    this.rows = this.rows.filter((_, k) => k % 2 === 0);
    this.stepFrames *= 2;
  }

  private addFrame(samples: Float32Array): void {
    const { size } = this.fft;
    // Digital silence says nothing about the noise.
    if (samples.every((v) => v === 0)) return;
    const re = Float64Array.from(samples, (v, i) => v * this.window[i]), im = new Float64Array(size);
    this.fft.inverse(re, im);
    this.rows.push(Float32Array.from({ length: size / 2 + 1 }, (_, b) => re[b] * re[b] + im[b] * im[b]));
  }

  /** What stands out; undefined where nothing does or too little was added. */
  finish(): SteadySound | undefined {
    if (this.rows.length < LEAST_FRAMES) return undefined;
    const binHz = this.sampleRateHz / this.fft.size;
    const first = Math.ceil(this.bandHz[0] / binHz), end = Math.min(this.fft.size / 2, Math.floor(this.bandHz[1] / binHz));
    const floor = findLowQuantiles(this.rows).subarray(first, end);
    const median = Float32Array.from(floor).sort()[floor.length >> 1];
    if (!(median > 0)) return undefined;
    const all = floor.reduce((s, v) => s + v, 0), over = floor.reduce((s, v) => s + Math.max(0, v - median * OVER_MEDIAN), 0);
    if (over < LEAST_SHARE * all) return undefined;
    const stretches = findStretches(floor, median * OVER_MEDIAN, Math.round(BRIDGE_HZ / binHz));
    const loudest = stretches.reduce((a, b) => (b.power > a.power ? b : a));
    const near = (b: number): boolean => floor[b] >= NEAR_PEAK * loudest.peak;
    let { from, end: to } = loudest;
    while (!near(from)) from++;
    while (!near(to - 1)) to--;
    return {
      fromHz: (first + from - 0.5) * binHz, toHz: (first + to - 0.5) * binHz, aboveDb: 10 * Math.log10(loudest.peak / median),
      otherCount: stretches.length - 1, noiseShare: over / all,
    };
  }
}

interface Stretch { from: number; end: number; power: number; peak: number }

/** Bins above a level; what is at most `bridge` bins apart is one stretch. */
function findStretches(floor: Float32Array, least: number, bridge: number): Stretch[] {
  const out: Stretch[] = [];
  for (let b = 0; b < floor.length; b++) {
    if (floor[b] <= least) continue;
    let last = out[out.length - 1];
    if (!last || b - last.end > bridge) out.push(last = { from: b, end: b, power: 0, peak: 0 });
    last.end = b + 1;
    last.power += floor[b];
    last.peak = Math.max(last.peak, floor[b]);
  }
  return out;
}
