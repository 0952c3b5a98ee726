/** Pictures of spectra for the page, by the same kernels as the evidence. Runs in a worker. */
import { resolveSettings } from '../../evidence/settings.js';
import { createKernels } from '../../kernels/kernels.js';
import type { Kernels } from '../../kernels/kernels.js';
import { computePower, computeStft, createStftPlan } from '../../kernels/stft.js';
import type { StftPlan } from '../../kernels/stft.js';
import type { SliceRequest, StudyInfo } from '../study-info.js';
import { TILE_COLUMNS } from './worker-messages.js';
import type { FloorTable, TileJob } from './worker-messages.js';

export type ReadSamples = (request: SliceRequest) => Promise<Float32Array>;

/** From this hop on only spectra at some moments of a column are looked at. */
const SPARSE_HOPS = 4;
/** Spectra per column where the hop is longer than the window; the loudest counts. */
const LOOKS = 2;
const FLOOR_SLICES = 48;
/** Samples of all tracks that the kernels hold at a time, per track. */
const CHUNK_SPECTRA = 64;

export class TileMaker {
  private readonly k: Kernels;
  private readonly plan: StftPlan;
  private readonly base: number;
  private readonly trackCount: number;
  readonly fftSize: number;

  constructor(kernels: WebAssembly.Module, private readonly info: StudyInfo, private readonly read: ReadSamples) {
    this.trackCount = info.tracks.length;
    this.fftSize = resolveSettings(info.sampleRateHz).fftSize;
    const bins = this.fftSize / 2 + 1;
    const groups = Math.ceil(this.trackCount / 4);
    const chunkFrames = (CHUNK_SPECTRA + 1) * this.fftSize;
    this.k = createKernels(kernels, 4 * this.trackCount * chunkFrames + CHUNK_SPECTRA * bins * (groups * 32 + this.trackCount * 4) + (1 << 20));
    this.plan = createStftPlan(this.k, { fftSize: this.fftSize, hopFrames: this.fftSize });
    this.base = this.k.mark();
  }

  /** Median spectrum of every track over moments spread over the study, smoothed: what calls are drawn against. */
  async measureFloor(): Promise<FloorTable> {
    const { fftSize, trackCount, info } = this;
    const binCount = fftSize / 2 + 1;
    const stepSec = info.durationSec / FLOOR_SLICES;
    const samples = await this.read({ startSec: 0, sliceFrames: fftSize, stepSec, sliceCount: FLOOR_SLICES, tracks: this.allTracks() });
    const power = this.powerOfSlices(samples, FLOOR_SLICES);
    const floorDb = new Float32Array(trackCount * binCount);
    const column = new Float32Array(FLOOR_SLICES);
    for (let j = 0; j < trackCount; j++) {
      for (let b = 0; b < binCount; b++) {
        let count = 0;
        // Digital silence is no noise: stretches without a file would pull the floor down.
        for (let s = 0; s < FLOOR_SLICES; s++) {
          const p = power[(j * FLOOR_SLICES + s) * binCount + b];
          if (p > 1e-15) column[count++] = p;
        }
        floorDb[j * binCount + b] = count ? 10 * Math.log10(column.subarray(0, count).sort()[count >> 1]) : -100;
      }
      smooth(floorDb.subarray(j * binCount, (j + 1) * binCount));
    }
    return { binCount, floorDb };
  }

  /** A tile: TILE_COLUMNS columns of one hop each, tracks below each other, high frequencies at the top. */
  async draw(job: TileJob): Promise<ImageBitmap> {
    const { power, looks } = await this.powerOfTile(job);
    const { look, floor } = job;
    const { binCount, floorDb } = floor;
    const binHz = this.info.sampleRateHz / this.fftSize;
    const endBin = Math.min(binCount, Math.ceil(look.topHz / binHz));
    const pixels = new Uint32Array(TILE_COLUMNS * look.rows * this.trackCount);
    const scale = 255 / look.rangeDb;
    for (let j = 0; j < this.trackCount; j++) {
      for (let r = 0; r < look.rows; r++) {
        const low = Math.max(1, Math.floor(((look.rows - 1 - r) * endBin) / look.rows));
        const high = Math.max(low + 1, Math.floor(((look.rows - r) * endBin) / look.rows));
        let floorHere = 0;
        for (let b = low; b < high; b++) floorHere += floorDb[j * binCount + b] / (high - low);
        const row = (j * look.rows + r) * TILE_COLUMNS;
        for (let c = 0; c < TILE_COLUMNS; c++) {
          let most = 0;
          for (let s = c * looks; s < (c + 1) * looks; s++) {
            const at = (j * TILE_COLUMNS * looks + s) * binCount;
            for (let b = low; b < high; b++) if (power[at + b] > most) most = power[at + b];
          }
          const shade = most > 0 ? (10 * Math.log10(most) - floorHere - 5) * scale : 0;
          pixels[row + c] = look.colours[shade <= 0 ? 0 : shade >= 255 ? 255 : shade | 0];
        }
      }
    }
    return createImageBitmap(new ImageData(new Uint8ClampedArray(pixels.buffer), TILE_COLUMNS, look.rows * this.trackCount));
  }

  private async powerOfTile({ index, hopFrames }: TileJob): Promise<{ power: Float32Array; looks: number }> {
    const { fftSize, info } = this;
    const { sampleRateHz } = info;
    const looks = hopFrames > fftSize ? LOOKS : 1;
    const count = TILE_COLUMNS * looks;
    const stepFrames = hopFrames / looks;
    const startSec = (index * TILE_COLUMNS * hopFrames + (stepFrames - fftSize) / 2) / sampleRateHz;
    if (hopFrames >= SPARSE_HOPS * fftSize) {
      const samples = await this.read({ startSec, sliceFrames: fftSize, stepSec: stepFrames / sampleRateHz, sliceCount: count, tracks: this.allTracks() });
      return { power: this.powerOfSlices(samples, count), looks };
    }
    const frames = (count - 1) * stepFrames + fftSize;
    const samples = await this.read({ startSec, sliceFrames: frames, stepSec: 0, sliceCount: 1, tracks: this.allTracks() });
    return { power: this.powerOfRun(samples, frames, stepFrames, count), looks };
  }

  /** Power [track][slice][bin] of slices [slice][track][frame] of one window each. */
  private powerOfSlices(samples: Float32Array, count: number): Float32Array {
    const { fftSize, trackCount } = this;
    const planar = new Float32Array(samples.length);
    for (let s = 0; s < count; s++) {
      for (let j = 0; j < trackCount; j++) planar.set(samples.subarray((s * trackCount + j) * fftSize, (s * trackCount + j + 1) * fftSize), (j * count + s) * fftSize);
    }
    return this.powerOfRun(planar, count * fftSize, fftSize, count);
  }

  /** Power [track][spectrum][bin] of planar samples, chunk by chunk through the kernels' memory. */
  private powerOfRun(samples: Float32Array, frames: number, hopFrames: number, count: number): Float32Array {
    const { k, fftSize, trackCount } = this;
    const binCount = fftSize / 2 + 1;
    const out = new Float32Array(trackCount * count * binCount);
    const plan = { ...this.plan, hopFrames };
    for (let from = 0; from < count; from += CHUNK_SPECTRA) {
      k.release(this.base);
      const n = Math.min(CHUNK_SPECTRA, count - from);
      const length = (n - 1) * hopFrames + fftSize;
      const signal = k.allocF32(trackCount * length);
      for (let j = 0; j < trackCount; j++) {
        const start = j * frames + from * hopFrames;
        k.f32(signal + 4 * j * length, length).set(samples.subarray(start, Math.min((j + 1) * frames, start + length)));
      }
      const region = { signal, trackStrideFrames: length, trackCount, frameCount: length };
      const power = computePower(k, computeStft(k, plan, region, 0, n), 1 / plan.windowSquareSum);
      for (let j = 0; j < trackCount; j++) out.set(power.subarray(j * n * binCount, (j + 1) * n * binCount), (j * count + from) * binCount);
    }
    return out;
  }

  private allTracks(): number[] {
    return this.info.tracks.map((_, j) => j);
  }
}

/** Running mean over 9 bins: a median of few moments is ragged. */
function smooth(values: Float32Array): void {
  const before = Float32Array.from(values);
  for (let b = 0; b < values.length; b++) {
    const part = before.subarray(Math.max(0, b - 4), b + 5);
    values[b] = part.reduce((s, v) => s + v, 0) / part.length;
  }
}
