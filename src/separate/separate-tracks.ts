import { createKernels } from '../kernels/kernels.js';
import type { Kernels } from '../kernels/kernels.js';
import type { ClockModel } from '../model/clock.js';
import type { TrackSound } from './guard-wearer.js';
import type { SeparationCall } from './plan-pieces.js';
import { BlockSeparator, countBlockFrames } from './separate-block.js';
import type { BlockEdits, Edit } from './separate-piece.js';
import type { SeparationSettings } from './settings.js';
import { countChunkFrames, countLoaderBytes, TrackLoader } from './track-loader.js';
import type { TrackSource } from './track-loader.js';

export interface SeparationInput {
  kernels: WebAssembly.Module;
  sampleRateHz: number;
  /** First frame after the end of every track, on its own recorder's clock. */
  endFrames: readonly number[];
  /** Recorder of every track, an index into `clock`. */
  recorderOf: readonly number[];
  clock: ClockModel;
  calls: readonly SeparationCall[];
  /** Sounds that a track has for itself, in order of onset: kept where its wearer is silent. */
  sounds?: readonly TrackSound[];
  read: TrackSource;
  changes?: Partial<SeparationSettings>;
  /** Told of every stretch that was changed. */
  onChange?: (track: number, frameCount: number) => void;
}

/** Samples of all tracks from `startFrame` on, each on its own clock; a track that has ended gives fewer or none. They live until the next are asked for. */
export interface SeparatedStretch { startFrame: number; tracks: Float32Array[] }

/** Gives the changes of one block; blocks may be asked for in any order. */
export interface BlockRunner {
  separate(blockIndex: number): Promise<BlockEdits>;
  /** Blocks worked on at the same time, 1 or more. */
  readonly width: number;
}

/** Bytes of kernel memory in which `separateTracks` keeps the samples that it gives. */
export function countStretchBytes({ sampleRateHz, endFrames }: SeparationInput): number {
  return countLoaderBytes(endFrames.length, sampleRateHz) + 4 * endFrames.length * countChunkFrames(sampleRateHz) + 64;
}

/**
 * Removes the voices of other birds from every track, stretch by stretch in bounded memory. Samples where no other bird calls come out
 * unchanged, bit for bit. The result does not depend on the runner: a block's changes follow from the input alone.
 * @param runner who works on the blocks; without one it is done here, one block after the other
 * @param k memory in which samples are given, `countStretchBytes` of it
 * @example for await (const stretch of separateTracks(input)) stretch.tracks.forEach((samples, j) => write(j, samples));
 */
export async function* separateTracks(input: SeparationInput, runner: BlockRunner = createInlineRunner(input), k: Kernels = createKernels(input.kernels, countStretchBytes(input))): AsyncGenerator<SeparatedStretch> {
  const { sampleRateHz, endFrames, read } = input, tracks = endFrames.map((_, j) => j);
  const blockFrames = countBlockFrames(sampleRateHz), stepFrames = countChunkFrames(sampleRateHz), lastFrame = Math.max(0, ...endFrames), blockCount = Math.ceil(lastFrame / blockFrames);
  const loader = new TrackLoader(k, read, endFrames.length, sampleRateHz), rows = k.allocF32(tracks.length * stepFrames);
  const ahead: Promise<BlockEdits>[] = [];
  let pending: BlockEdits[] = [], asked = 0;
  for (let index = 0; index < blockCount; index++) {
    for (; asked < Math.min(blockCount, index + runner.width); asked++) {
      const answer = runner.separate(asked);
      // Whoever waits for it is told; until then a failure must not count as unhandled.
      answer.catch(() => undefined);
      ahead.push(answer);
    }
    const blockEnd = Math.min(lastFrame, (index + 1) * blockFrames), block = await ahead.shift()!;
    for (const { track, change } of block.edits) input.onChange?.(track, change.length);
    pending.push(block);
    for (let startFrame = index * blockFrames; startFrame < blockEnd; startFrame += stepFrames) {
      const endFrame = Math.min(blockEnd, startFrame + stepFrames);
      await loader.load(tracks.map(() => startFrame), endFrame - startFrame, tracks, rows, stepFrames);
      const samples = tracks.map((j) => k.f32(rows + 4 * j * stepFrames, endFrame - startFrame));
      for (const { edits } of pending) for (const edit of edits) applyEdit(samples[edit.track], startFrame, edit);
      pending = pending.filter((b) => {
        const isOpen = b.edits.some((e) => e.startFrame + e.change.length > endFrame);
        if (!isOpen) b.release?.();
        return isOpen;
      });
      yield { startFrame, tracks: samples.map((x, j) => x.subarray(0, Math.max(0, Math.min(endFrames[j], endFrame) - startFrame))) };
    }
  }
}

function createInlineRunner(input: SeparationInput): BlockRunner {
  const blocks = new BlockSeparator(input);
  return { width: 1, separate: async (index) => ({ edits: await blocks.separate(index) }) };
}

function applyEdit(samples: Float32Array, startFrame: number, edit: Edit): void {
  const from = Math.max(0, startFrame - edit.startFrame), to = Math.min(edit.change.length, startFrame + samples.length - edit.startFrame);
  for (let i = from; i < to; i++) samples[edit.startFrame + i - startFrame] += edit.change[i];
}
