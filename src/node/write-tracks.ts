import { unlinkSync } from 'node:fs';
import { open, rename, unlink } from 'node:fs/promises';
import type { FileHandle } from 'node:fs/promises';
import { join } from 'node:path';
import { buildWavHeader, buildWavTrailer, encodeFrames } from '../audio/wav-writer.js';
import type { WavSpec } from '../audio/wav-writer.js';
import { quoteName, VolaryError } from '../schema/errors.js';

interface OpenTrack { spec: WavSpec; path: string; partPath: string; handle: FileHandle; written: number }

/**
 * Mono WAVE files that grow side by side and appear together when all are whole. `abandon` leaves nothing behind.
 * @throws VolaryError 'unreadable' where the place cannot be written
 */
export class TrackWriters {
  private constructor(private readonly tracks: OpenTrack[]) {}

  static async open(folder: string, files: readonly { name: string; spec: WavSpec }[]): Promise<TrackWriters> {
    const writers = new TrackWriters([]);
    watchExit();
    try {
      for (const { name, spec } of files) {
        const path = join(folder, name), partPath = `${path}.${process.pid}.part`;
        const handle = await open(partPath, 'w');
        unfinished.add(partPath);
        writers.tracks.push({ spec, path, partPath, handle, written: 0 });
        await handle.writeFile(buildWavHeader(spec));
      }
    } catch (error) {
      await writers.abandon();
      throw describeFailure(folder, error);
    }
    return writers;
  }

  async append(index: number, samples: Float32Array): Promise<void> {
    const track = this.tracks[index];
    track.written += samples.length;
    await track.handle.writeFile(encodeFrames([samples], track.spec.encoding)).catch((error: unknown) => { throw describeFailure(track.path, error); });
  }

  /** Ends all files and gives them their names. */
  async finish(): Promise<void> {
    for (const t of this.tracks) {
      if (t.written !== t.spec.frameCount) throw new VolaryError('internal', { where: quoteName(t.path), what: 'wrong number of frames to write', got: `${t.written}`, expected: `${t.spec.frameCount}` });
      await t.handle.writeFile(buildWavTrailer(t.spec));
      await t.handle.sync().catch(() => undefined);
      await t.handle.close();
    }
    for (const t of this.tracks) {
      await rename(t.partPath, t.path).catch((error: unknown) => { throw describeFailure(t.path, error); });
      unfinished.delete(t.partPath);
    }
  }

  async abandon(): Promise<void> {
    for (const t of this.tracks) {
      await t.handle.close().catch(() => undefined);
      await unlink(t.partPath).catch(() => undefined);
      unfinished.delete(t.partPath);
    }
  }
}

const unfinished = new Set<string>();
let isWatching = false;

/** Ctrl-C in the middle leaves no half files behind. */
function watchExit(): void {
  if (isWatching) return;
  isWatching = true;
  process.on('exit', () => {
    for (const path of unfinished) {
      try { unlinkSync(path); } catch { /* renamed or never made */ }
    }
  });
}

function describeFailure(path: string, error: unknown): unknown {
  const code = (error as NodeJS.ErrnoException).code;
  if (error instanceof VolaryError || code === undefined) return error;
  return new VolaryError('unreadable', { where: quoteName(path), what: 'cannot be written', got: code === 'ENOSPC' ? 'no space left on the disk' : code }, { cause: error });
}
