import { FLACDecoder } from '@wasm-audio-decoders/flac';
import type { FLACDecodedAudio } from '@wasm-audio-decoders/flac';

export interface LibraryFrame {
  /** One whole frame whose header needs no STREAMINFO. */
  bytes: Uint8Array;
  blockFrames: number;
}

/** A batch as the library scales it: planar samples of all frames in a row, or one frame after the other where one was refused. */
export type LibraryResult = { whole: Float32Array[] } | { single: Array<Float32Array[] | undefined> };

// One decoder for all files: frames are independent of each other, and every decoder would hold 16 MB.
let library: FLACDecoder | undefined;
let lastTask: Promise<unknown> = Promise.resolve();

/** Decodes frames with libFLAC, one caller at a time. */
export function decodeWithLibrary(frames: LibraryFrame[]): Promise<LibraryResult> {
  const task = lastTask.then(() => decodeBatch(frames));
  lastTask = task.catch(() => {});
  return task;
}

async function decodeBatch(frames: LibraryFrame[]): Promise<LibraryResult> {
  const expected = frames.reduce((sum, f) => sum + f.blockFrames, 0);
  const whole = await decodeQuietly(frames.map((f) => f.bytes));
  if (whole?.samplesDecoded === expected) return { whole: whole.channelData };
  // An error leaves half a frame inside libFLAC, so it gets a fresh start after each.
  await restart();
  const single: Array<Float32Array[] | undefined> = [];
  for (const frame of frames) {
    const one = await decodeQuietly([frame.bytes]);
    const isWhole = one?.samplesDecoded === frame.blockFrames;
    single.push(isWhole ? one!.channelData : undefined);
    if (!isWhole) await restart();
  }
  return { single };
}

/**
 * @returns undefined where the library reports an error or fails
 * The library prints every error on the console; the reader reports it in one line of its own.
 */
async function decodeQuietly(frames: Uint8Array[]): Promise<FLACDecodedAudio | undefined> {
  library ??= new FLACDecoder();
  await library.ready;
  const print = console.error;
  console.error = () => {};
  let result: Promise<FLACDecodedAudio>;
  try {
    // The decoding itself runs before this call returns, so nobody else is silenced.
    result = library.decodeFrames(frames);
  } finally {
    console.error = print;
  }
  const decoded = await result.catch(() => undefined);
  return decoded && decoded.errors.length === 0 ? decoded : undefined;
}

async function restart(): Promise<void> {
  try {
    await library?.reset();
  } catch {
    // A library that failed inside cannot clean up; a new one takes its place.
    library = undefined;
  }
}
