/** A stretch of a track, seconds on its recorder's clock. */
export interface Stretch {
  startSec: number;
  durationSec: number;
}

/** What the samples of a track say. Levels in dB relative to full scale (a sine at full scale has -3.01 dB). NaN where nothing was read. */
export interface TrackMeasures {
  readSec: number;
  lostSec: number;
  peakDb: number;
  /** Root mean square without the constant part. */
  levelDb: number;
  /** 10th percentile of the level in windows of 20 ms, digital silence left out. */
  noiseFloorDb: number;
  /** Mean of all samples as a share of full scale. */
  dcOffset: number;
  /** Times at which the track stood at an extreme that cuts its waves, and the samples there. */
  clippedRuns: number;
  clippedSamples: number;
  /** Time in runs of at least 50 ms in which no sample differs from the one before. */
  silentSec: number;
  longestSilenceSec: number;
  /** Time in bursts of loud noise as an FM receiver makes it without a carrier. */
  dropoutSec: number;
  dropouts: Stretch[];
  silences: Stretch[];
}

const WINDOW_SEC = 0.02;
const SILENCE_SEC = 0.05;
/** A receiver without carrier gives noise up to the edge of its band, so that neighbouring samples hardly resemble each other; voices and wings do. */
const NOISE_CORRELATION = 0.35;
const NOISE_RUN_WINDOWS = 3;
const NOISE_STEP_DB = 6;
const DROPOUT_ABOVE_FLOOR_DB = 12;
/** Below this share of full scale, equal extremes come from coarse steps and not from clipping. */
const LEAST_CLIP = 0.05;
const LEAST_CLIPPED_SAMPLES = 4;
const NEAR = 0.99;
/** So many steps of the samples' own grain count as near, too: of 8-bit sound 1 % is less than a step. */
const NEAR_STEPS = 4;
const CLIP_RUN_SEC = 0.005;
const KEPT_STRETCHES = 2000;
const LOWEST_DB = -150;
const BINS = 170;

interface NoiseRun { startFrame: number; windows: number; sumDb: number }

/**
 * Measures a track block by block in bounded memory. Blocks come in order of time; where one does not follow on the last, runs end.
 * All thresholds are common practice without a source.
 */
export class TrackMeter {
  private readonly windowFrames: number;
  private readonly clipRunFrames: number;
  private readonly levelCounts = new Float64Array(BINS);
  private readonly noiseRuns: NoiseRun[] = [];
  private noiseRun: NoiseRun | undefined;
  private readonly silences: Stretch[] = [];
  private nextFrame = -1;
  private previous = NaN;
  private equalRun = 0;
  /** The smallest difference between neighbours so far: the grain of the samples, be it that of the file or of what it was made from. */
  private step = Infinity;
  private readonly high = newExtreme();
  /** Counts -x. */
  private readonly low = newExtreme();
  private frames = 0;
  private lostFrames = 0;
  private sum = 0;
  private power = 0;
  private silentFrames = 0;
  private longestSilence = 0;

  constructor(private readonly sampleRateHz: number) {
    this.windowFrames = Math.max(2, Math.round(WINDOW_SEC * sampleRateHz));
    this.clipRunFrames = CLIP_RUN_SEC * sampleRateHz;
  }

  /** Adds a block that starts at `startFrame`; `gaps` (frames relative to the block, half-open) hold no sound. */
  add(samples: Float32Array, frameCount: number, startFrame: number, gaps: readonly { from: number; to: number; isLost: boolean }[]): void {
    if (startFrame !== this.nextFrame) this.breakRuns(this.nextFrame);
    let at = 0;
    for (const gap of gaps) {
      this.addSound(samples, at, gap.from, startFrame);
      this.breakRuns(startFrame + gap.from);
      if (gap.isLost) this.lostFrames += gap.to - gap.from;
      at = gap.to;
    }
    this.addSound(samples, at, frameCount, startFrame);
    if (at === frameCount) this.breakRuns(startFrame + frameCount);
    this.nextFrame = startFrame + frameCount;
  }

  finish(): TrackMeasures {
    this.breakRuns(this.nextFrame);
    const toSec = (frames: number): number => frames / this.sampleRateHz;
    const noiseFloorDb = this.findFloor();
    const dropouts = this.noiseRuns.filter((r) => r.sumDb / r.windows > noiseFloorDb + DROPOUT_ABOVE_FLOOR_DB)
      .map((r) => ({ startSec: toSec(r.startFrame), durationSec: toSec(r.windows * this.windowFrames) }));
    const clipped = judgeClipping(this.high, this.low);
    return {
      readSec: toSec(this.frames),
      lostSec: toSec(this.lostFrames),
      peakDb: toDb(Math.max(this.high.value, this.low.value) ** 2, this.frames),
      levelDb: toDb(this.power / this.frames, this.frames),
      noiseFloorDb,
      dcOffset: this.frames > 0 ? this.sum / this.frames : NaN,
      clippedRuns: clipped.runs,
      clippedSamples: clipped.samples,
      silentSec: toSec(this.silentFrames),
      longestSilenceSec: toSec(this.longestSilence),
      dropoutSec: dropouts.reduce((s, d) => s + d.durationSec, 0),
      dropouts,
      silences: this.silences,
    };
  }

  private addSound(samples: Float32Array, from: number, to: number, startFrame: number): void {
    for (let at = from; at < to; at += this.windowFrames) this.addWindow(samples, at, Math.min(to, at + this.windowFrames), startFrame);
  }

  private addWindow(samples: Float32Array, from: number, to: number, startFrame: number): void {
    let previous = this.previous;
    let step = this.step;
    let sum = 0;
    let square = 0;
    let product = 0;
    for (let i = from; i < to; i++) {
      const x = samples[i];
      sum += x;
      square += x * x;
      if (i > from) product += x * previous;
      if (x === previous) this.equalRun++;
      else {
        this.endSilence(startFrame + i);
        this.equalRun = 1;
        const difference = Math.abs(x - previous);
        if (difference < step) step = difference;
      }
      if (x > findNear(this.high.value, step)) countExtreme(this.high, x, startFrame + i, this.clipRunFrames, step);
      else if (-x > findNear(this.low.value, step)) countExtreme(this.low, -x, startFrame + i, this.clipRunFrames, step);
      previous = x;
    }
    this.previous = previous;
    this.step = step;
    const n = to - from;
    const mean = sum / n;
    const variance = Math.max(0, square / n - mean * mean);
    this.frames += n;
    this.sum += sum;
    this.power += variance * n;
    // Less than half a window says little about a level.
    if (2 * n < this.windowFrames || variance === 0) return;
    const levelDb = Math.max(LOWEST_DB, 10 * Math.log10(variance));
    this.levelCounts[Math.min(BINS - 1, Math.floor(levelDb - LOWEST_DB))]++;
    this.followNoise((product / (n - 1) - mean * mean) / variance < NOISE_CORRELATION, levelDb, startFrame + from);
  }

  private followNoise(isNoise: boolean, levelDb: number, startFrame: number): void {
    const run = this.noiseRun;
    if (run && isNoise && Math.abs(levelDb - run.sumDb / run.windows) < NOISE_STEP_DB) {
      run.windows++;
      run.sumDb += levelDb;
      return;
    }
    this.endNoise();
    if (isNoise) this.noiseRun = { startFrame, windows: 1, sumDb: levelDb };
  }

  /** Keeps the loudest runs: the quiet ones are the floor itself. */
  private endNoise(): void {
    const run = this.noiseRun;
    this.noiseRun = undefined;
    if (!run || run.windows < NOISE_RUN_WINDOWS) return;
    this.noiseRuns.push(run);
    if (this.noiseRuns.length < 2 * KEPT_STRETCHES) return;
    this.noiseRuns.sort((a, b) => b.sumDb / b.windows - a.sumDb / a.windows);
    this.noiseRuns.length = KEPT_STRETCHES;
    this.noiseRuns.sort((a, b) => a.startFrame - b.startFrame);
  }

  private endSilence(endFrame: number): void {
    if (this.equalRun < SILENCE_SEC * this.sampleRateHz) return;
    this.silentFrames += this.equalRun;
    this.longestSilence = Math.max(this.longestSilence, this.equalRun);
    if (this.silences.length < KEPT_STRETCHES) this.silences.push({ startSec: (endFrame - this.equalRun) / this.sampleRateHz, durationSec: this.equalRun / this.sampleRateHz });
  }

  private breakRuns(endFrame: number): void {
    this.endSilence(endFrame);
    this.endNoise();
    this.equalRun = 0;
    this.previous = NaN;
  }

  private findFloor(): number {
    const total = this.levelCounts.reduce((a, b) => a + b, 0);
    let below = 0;
    for (let bin = 0; bin < BINS; bin++) {
      const count = this.levelCounts[bin];
      if (count > 0 && below + count >= total * 0.1) return LOWEST_DB + bin + (total * 0.1 - below) / count;
      below += count;
    }
    return NaN;
  }
}

/** One side of the range that a track reaches: how often it stands exactly at its extreme, and how often just below. */
interface Extreme { value: number; atCount: number; nearCount: number; runs: number; lastFrame: number }

function newExtreme(): Extreme {
  return { value: 0, atCount: 0, nearCount: 0, runs: 0, lastFrame: -Infinity };
}

/** From which size on a sample is near an extreme; a wave between two values has no grain that tells. */
function findNear(extreme: number, step: number): number {
  return Math.min(NEAR * extreme, Math.max(0.5 * extreme, extreme - (NEAR_STEPS + 0.5) * step));
}

/** Takes a sample of size `x` near the extreme or beyond it. */
function countExtreme(side: Extreme, x: number, frame: number, runGapFrames: number, step: number): void {
  if (x > side.value) {
    // What was at the old extreme is now near the new one, or far from it.
    side.nearCount = side.value > findNear(x, step) ? side.nearCount + side.atCount : 0;
    side.value = x;
    side.atCount = 0;
    side.runs = 0;
    side.lastFrame = -Infinity;
  } else if (x < side.value) {
    side.nearCount++;
    return;
  }
  side.atCount++;
  if (frame - side.lastFrame > runGapFrames) side.runs++;
  side.lastFrame = frame;
}

/**
 * A clipped track stands at its extreme more often than just below it; a wave that was not cut thins out towards its top. Both sides
 * count together where they are cut at the same size.
 */
function judgeClipping(high: Extreme, low: Extreme): { runs: number; samples: number } {
  const isSymmetric = Math.min(high.value, low.value) >= NEAR * Math.max(high.value, low.value);
  const groups = isSymmetric ? [[high, low]] : [[high], [low]];
  const clipped = groups.filter((g) => {
    const atCount = g.reduce((n, s) => n + s.atCount, 0);
    return g[0].value >= LEAST_CLIP && atCount >= LEAST_CLIPPED_SAMPLES && atCount > g.reduce((n, s) => n + s.nearCount, 0);
  }).flat();
  return { runs: clipped.reduce((n, s) => n + s.runs, 0), samples: clipped.reduce((n, s) => n + s.atCount, 0) };
}

function toDb(power: number, frames: number): number {
  return frames === 0 ? NaN : power > 0 ? 10 * Math.log10(power) : -Infinity;
}
