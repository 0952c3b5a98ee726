import { createKernels } from '../kernels/kernels.js';
import { countPathBytes } from '../kernels/paths.js';
import type { ClockModel } from '../model/clock.js';
import { toReference } from '../model/clock.js';
import type { PathContext } from './choose-path.js';
import { learnLevels } from './crosstalk-levels.js';
import { FloorMeter } from './noise-floors.js';
import { PathEngine } from './path-system.js';
import { planPieces } from './plan-pieces.js';
import type { SeparationCall } from './plan-pieces.js';
import { countAnalyserBytes, countMostWindows, SectionAnalyser } from './section.js';
import type { TrackSource } from './section.js';
import { MOST_OTHERS, PieceSeparator } from './separate-piece.js';
import type { Edit } from './separate-piece.js';
import { chooseSeparationSettings } from './settings.js';
import type { SeparationSettings } from './settings.js';
import { SoloStore } from './solo-store.js';

export interface SeparationInput {
  kernels: WebAssembly.Module;
  sampleRateHz: number;
  /** First frame after the end of every track, on its own recorder's clock. */
  endFrames: readonly number[];
  /** Recorder of every track, an index into `clock`. */
  recorderOf: readonly number[];
  clock: ClockModel;
  calls: readonly SeparationCall[];
  read: TrackSource;
  changes?: Partial<SeparationSettings>;
  /** Told of every stretch that was changed. */
  onChange?: (track: number, frameCount: number) => void;
}

/** Samples of all tracks from `startFrame` on, each on its own clock; a track that has ended gives fewer or none. */
export interface SeparatedBlock { startFrame: number; tracks: Float32Array[] }

/** Work is done in blocks of this length, seconds; so are noise floors and levels. */
const BLOCK_SEC = 20;

/**
 * Removes the voices of other birds from every track, block by block in bounded memory. Samples where no other bird calls come out
 * unchanged, bit for bit.
 * @example for await (const block of separateTracks(input)) block.tracks.forEach((samples, j) => write(j, samples));
 */
export async function* separateTracks(input: SeparationInput): AsyncGenerator<SeparatedBlock> {
  const { sampleRateHz, endFrames, recorderOf, clock, read } = input;
  const settings = chooseSeparationSettings(sampleRateHz, input.changes);
  const calls = [...input.calls].sort((a, b) => a.onsetSec - b.onsetSec || a.track - b.track);
  const blockFrames = Math.round(BLOCK_SEC * sampleRateHz), lastFrame = Math.max(0, ...endFrames);
  const analyser = new SectionAnalyser(createKernels(input.kernels, countAnalyserBytes(settings)), settings, recorderOf, clock, read);
  const meter = new FloorMeter(createKernels(input.kernels, FloorMeter.countBytes(settings, blockFrames)), settings);
  const pathBytes = countPathBytes(MOST_OTHERS, countMostWindows(settings), settings.binCount, settings);
  const store = new SoloStore(analyser, new PathEngine(createKernels(input.kernels, pathBytes), settings), calls, endFrames.length);
  const separator = new PieceSeparator(analyser, calls);
  const pieces = planPieces(calls, endFrames.length, settings);
  let pending: Edit[] = [], next = 0;
  for (let startFrame = 0; startFrame < lastFrame; startFrame += blockFrames) {
    const endFrame = Math.min(lastFrame, startFrame + blockFrames);
    const samples = await read(endFrames.map(() => startFrame), endFrame - startFrame);
    // A piece may begin a little before its onset.
    const untilSec = Math.max(...clock.map((c) => toReference(c, endFrame / sampleRateHz))) + 0.1;
    if (next < pieces.length && pieces[next].startSec < untilSec) {
      const floors = samples.map((x) => meter.measure(x));
      const context: PathContext = { store, settings, floors, levels: await learnLevels(store, (startFrame + endFrame) / 2 / sampleRateHz, floors, settings) };
      for (; next < pieces.length && pieces[next].startSec < untilSec; next++) {
        const edit = await separator.separate(pieces[next], context);
        if (!edit) continue;
        pending.push(edit);
        input.onChange?.(edit.track, edit.change.length);
      }
    }
    for (const edit of pending) applyEdit(samples[edit.track], startFrame, edit);
    pending = pending.filter((e) => e.startFrame + e.change.length > endFrame);
    yield { startFrame, tracks: samples.map((x, j) => x.subarray(0, Math.max(0, Math.min(endFrames[j], endFrame) - startFrame))) };
  }
}

function applyEdit(samples: Float32Array, startFrame: number, edit: Edit): void {
  const from = Math.max(0, startFrame - edit.startFrame), to = Math.min(edit.change.length, startFrame + samples.length - edit.startFrame);
  for (let i = from; i < to; i++) samples[edit.startFrame + i - startFrame] += edit.change[i];
}
