import { encode } from 'fast-png';
import { createKernels } from '../kernels/kernels.js';
import { computePower, computeStft, countSpectraBytes, createStftPlan } from '../kernels/stft.js';
import type { ClockRow } from '../schema/rows.js';
import type { StudyAudio } from '../study/study-audio.js';
import { readAligned } from './read-aligned.js';
import type { Excerpt, ExcerptPicture } from './report-input.js';

export interface RenderOptions {
  clock: readonly ClockRow[];
  /** Receiver gains by bird, dB; a track that is not named has 0. */
  gainsDb: Readonly<Record<string, number>>;
  /** Lowest and highest frequency drawn; default 0 to 10 kHz or what the sample rate allows. */
  bandHz?: readonly [number, number];
  /** Picture points of all excerpts and tracks together: bounds the size of the report. Default 2.2 million. */
  mostPixels?: number;
}

/** Grey levels of a picture: few of them keep the file small, and 48 dB in 40 steps is finer than an eye tells apart. */
const GREY_STEPS = 40;
const RANGE_DB = 48;
const MOST_WIDTH = 1100;

/**
 * Pictures of all tracks in the chosen excerpts, computed by the kernels: one common grey scale over all tracks after the receivers' gains
 * are taken out, so that equal grey means equal sound at the tags.
 */
export async function renderExcerpts(module: WebAssembly.Module, audio: StudyAudio, excerpts: readonly Excerpt[], options: RenderOptions): Promise<ExcerptPicture[]> {
  const pictures: ExcerptPicture[] = [];
  for (const excerpt of excerpts) pictures.push(await renderExcerpt(module, audio, excerpt, excerpts.length, options));
  return pictures;
}

async function renderExcerpt(module: WebAssembly.Module, audio: StudyAudio, excerpt: Excerpt, excerptCount: number, options: RenderOptions): Promise<ExcerptPicture> {
  const { sampleRateHz, tracks } = audio.timeline;
  const fftSize = Math.min(8192, Math.max(64, 2 ** Math.round(Math.log2(0.0116 * sampleRateHz))));
  const frameCount = Math.round((excerpt.endSec - excerpt.startSec) * sampleRateHz);
  const binHz = sampleRateHz / fftSize;
  const lowBin = Math.max(0, Math.floor((options.bandHz?.[0] ?? 0) / binHz));
  const endBin = Math.min(fftSize / 2 + 1, Math.ceil((options.bandHz?.[1] ?? 10000) / binHz));
  const share = (options.mostPixels ?? 2.2e6) / (tracks.length * excerptCount * (endBin - lowBin));
  const width = Math.max(40, Math.min(MOST_WIDTH, Math.floor(share)));
  const { signals } = await readAligned(audio, options.clock, excerpt.startSec, frameCount);
  const levels = computeLevels(module, signals, frameCount, { fftSize, width, lowBin, endBin });
  tracks.forEach((track, j) => {
    const gainDb = options.gainsDb[track.bird] ?? 0;
    for (let i = 0; i < levels[j].length; i++) levels[j][i] -= gainDb;
  });
  const blackDb = findBlack(levels);
  const whiteDb = blackDb - RANGE_DB;
  const heightPx = endBin - lowBin;
  return {
    ...excerpt, lowHz: lowBin * binHz, highHz: endBin * binHz, whiteDb, blackDb,
    tracks: tracks.map((track, j) => ({ track: track.bird, widthPx: width, heightPx, png: drawGrey(levels[j], width, heightPx, whiteDb, blackDb) })),
  };
}

interface Grid { fftSize: number; width: number; lowBin: number; endBin: number }

/** Levels per track [column][bin], dB relative to a full-scale sine; a column holds the loudest of the spectra that fall into it. */
function computeLevels(module: WebAssembly.Module, signals: readonly Float32Array[], frameCount: number, grid: Grid): Float32Array[] {
  const { fftSize, width, lowBin, endBin } = grid;
  const hopFrames = Math.max(1, Math.min(fftSize >> 1, Math.floor(frameCount / width / 2)));
  const count = Math.floor((frameCount - 1) / hopFrames) + 1;
  const bins = fftSize / 2 + 1;
  // One track at a time: memory stays small for sixteen tracks.
  const k = createKernels(module, countSpectraBytes(bins, 1, count) + count * bins * 4 + frameCount * 4 + (1 << 20));
  const plan = createStftPlan(k, { fftSize, hopFrames });
  const base = k.mark();
  return signals.map((signal) => {
    k.release(base);
    const ptr = k.allocF32(frameCount);
    k.f32(ptr, frameCount).set(signal);
    const spectra = computeStft(k, plan, { signal: ptr, trackStrideFrames: frameCount, trackCount: 1, frameCount }, -fftSize / 2, count);
    const power = computePower(k, spectra, (2 / plan.windowSum) ** 2);
    const height = endBin - lowBin;
    const most = new Float32Array(width * height);
    for (let t = 0; t < count; t++) {
      const column = Math.min(width - 1, Math.floor((t * hopFrames * width) / frameCount));
      for (let b = 0; b < height; b++) most[column * height + b] = Math.max(most[column * height + b], power[t * bins + lowBin + b]);
    }
    return most.map((p) => 10 * Math.log10(p + 1e-14));
  });
}

/** Level above which one point in 500 lies, over all tracks. */
function findBlack(levels: readonly Float32Array[]): number {
  const sample: number[] = [];
  for (const track of levels) for (let i = 0; i < track.length; i += 7) sample.push(track[i]);
  const sorted = Float32Array.from(sample).sort();
  return sorted[Math.floor((sorted.length - 1) * 0.998)];
}

function drawGrey(levels: Float32Array, width: number, height: number, whiteDb: number, blackDb: number): string {
  const data = new Uint8Array(width * height);
  for (let x = 0; x < width; x++) {
    for (let y = 0; y < height; y++) {
      const share = Math.min(1, Math.max(0, (levels[x * height + height - 1 - y] - whiteDb) / (blackDb - whiteDb)));
      data[y * width + x] = 255 - Math.round((Math.round(share * GREY_STEPS) / GREY_STEPS) * 255);
    }
  }
  return toDataUri('image/png', encode({ width, height, data, depth: 8, channels: 1 }, { zlib: { level: 9 } }));
}

/** A data: URI in base 64. */
export function toDataUri(type: string, bytes: Uint8Array): string {
  let text = '';
  for (let i = 0; i < bytes.length; i += 8192) text += String.fromCharCode(...bytes.subarray(i, i + 8192));
  return `data:${type};base64,${btoa(text)}`;
}
