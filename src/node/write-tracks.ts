import { open, rename, unlink } from 'node:fs/promises';
import type { FileHandle } from 'node:fs/promises';
import { join } from 'node:path';
import { buildWavHeader, buildWavTrailer, SAMPLE_BYTES } from '../audio/wav-writer.js';
import type { WavSpec } from '../audio/wav-writer.js';
import type { Ptr } from '../kernels/kernel-exports.js';
import type { Kernels } from '../kernels/kernels.js';
import { encodeSamples } from '../kernels/pcm-planes.js';
import { quoteName, VolaryError } from '../schema/errors.js';
import { markFinished, markUnfinished } from './unfinished-files.js';
import { describeWriteError, nameTemporary, syncFile } from './write-files.js';

interface OpenTrack {
  spec: WavSpec;
  path: string;
  partPath: string;
  handle: FileHandle;
  written: number;
  /** Two places in the kernels' memory: one is filled while the other is written. */
  buffers: [Ptr, Ptr];
  filledBytes: number;
  /** What is being written. */
  pending: Promise<void>;
}

/** Bytes gathered of a track before they are written: a multiple of every width of a sample. */
const BUFFER_BYTES = 3 * 2 ** 17;
/** Samples that lie elsewhere are brought to the kernels' memory so many at a time. */
const STAGE_FRAMES = 8192;

/** Bytes of kernel memory that writers take. */
export function countWriterBytes(trackCount: number): number {
  return 2 * trackCount * BUFFER_BYTES + 4 * STAGE_FRAMES + 64;
}

/**
 * Mono WAVE files that grow side by side and appear together when all are whole. `abandon` leaves nothing behind.
 * @throws VolaryError 'unreadable' where the place cannot be written
 */
export class TrackWriters {
  private readonly tracks: OpenTrack[] = [];
  private readonly stage: Ptr;

  private constructor(private readonly k: Kernels) {
    this.stage = k.allocF32(STAGE_FRAMES);
  }

  /** @param k memory to encode in, `countWriterBytes` of it; samples that lie there already are not copied */
  static async open(folder: string, files: readonly { name: string; spec: WavSpec }[], k: Kernels): Promise<TrackWriters> {
    const writers = new TrackWriters(k);
    try {
      for (const { name, spec } of files) {
        const path = join(folder, name), partPath = nameTemporary(path);
        markUnfinished(partPath);
        const handle = await open(partPath, 'wx');
        writers.tracks.push({ spec, path, partPath, handle, written: 0, buffers: [k.alloc(BUFFER_BYTES), k.alloc(BUFFER_BYTES)], filledBytes: 0, pending: Promise.resolve() });
        await handle.writeFile(buildWavHeader(spec));
      }
    } catch (error) {
      await writers.abandon();
      throw describeFailure(folder, error);
    }
    return writers;
  }

  /** Takes the next samples of a track; what is written has been taken out of `samples` when this comes back. */
  async append(index: number, samples: Float32Array): Promise<void> {
    const { k, stage } = this, track = this.tracks[index], width = SAMPLE_BYTES[track.spec.encoding], found = k.find(samples);
    track.written += samples.length;
    for (let done = 0; done < samples.length;) {
      const room = (BUFFER_BYTES - track.filledBytes) / width, count = Math.min(samples.length - done, room, found === undefined ? STAGE_FRAMES : Infinity);
      if (found === undefined) k.f32(stage, count).set(samples.subarray(done, done + count));
      encodeSamples(k, found === undefined ? stage : found + 4 * done, count, width, track.buffers[0] + track.filledBytes);
      track.filledBytes += count * width;
      done += count;
      if (track.filledBytes === BUFFER_BYTES) await this.flush(track);
    }
  }

  /** Begins to write what was gathered, once what was gathered before is written. */
  private async flush(track: OpenTrack): Promise<void> {
    await track.pending;
    const [full, other] = track.buffers, bytes = this.k.u8(full, track.filledBytes);
    track.buffers = [other, full];
    track.filledBytes = 0;
    track.pending = track.handle.writeFile(bytes).catch((error: unknown) => { throw describeFailure(track.path, error); });
    // Whoever waits for it is told; until then a failure must not count as unhandled.
    track.pending.catch(() => undefined);
  }

  /** Ends all files and gives them their names. */
  async finish(): Promise<void> {
    for (const t of this.tracks) {
      if (t.written !== t.spec.frameCount) throw new VolaryError('internal', { where: quoteName(t.path), what: 'wrong number of frames to write', got: `${t.written}`, expected: `${t.spec.frameCount}` });
      await this.flush(t);
      await t.pending;
      await endTrack(t).catch((error: unknown) => { throw describeFailure(t.path, error); });
    }
    for (const t of this.tracks) {
      await rename(t.partPath, t.path).catch((error: unknown) => { throw describeFailure(t.path, error); });
      markFinished(t.partPath);
    }
  }

  async abandon(): Promise<void> {
    for (const t of this.tracks) {
      await t.pending.catch(() => undefined);
      await t.handle.close().catch(() => undefined);
      await unlink(t.partPath).catch(() => undefined);
      markFinished(t.partPath);
    }
  }
}

async function endTrack({ handle, spec }: OpenTrack): Promise<void> {
  await handle.writeFile(buildWavTrailer(spec));
  await syncFile(handle);
  await handle.close();
}

function describeFailure(path: string, error: unknown): unknown {
  if (error instanceof VolaryError || (error as NodeJS.ErrnoException).code === undefined) return error;
  return describeWriteError(path, error);
}
