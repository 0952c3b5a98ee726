import type { Ptr } from '../kernels/kernel-exports.js';
import type { Kernels } from '../kernels/kernels.js';
import type { LaneRun } from '../kernels/lane-records.js';
import { countPlanesBytes, PcmPlanes } from '../kernels/pcm-planes.js';

/**
 * Reads some tracks, each from its own first frame on, as bytes into memory that is given, and says where they lie; where no run is there is
 * no sound. `into` has 4 bytes per frame and track (all of them) and 16 KiB more.
 */
export type TrackSource = (startFrames: readonly number[], frameCount: number, tracks: readonly number[], into: Uint8Array) => Promise<readonly LaneRun[]>;

/** Most seconds read at a time: what is read stays in the second cache until it is decoded. */
const CHUNK_SEC = 0.5;

export function countChunkFrames(sampleRateHz: number): number {
  return Math.ceil(CHUNK_SEC * sampleRateHz);
}

/** Bytes of kernel memory that a loader keeps. */
export function countLoaderBytes(trackCount: number, sampleRateHz: number): number {
  return countPlanesBytes(trackCount, countChunkFrames(sampleRateHz));
}

/** Brings samples of tracks into the kernels' memory. */
export class TrackLoader {
  private readonly pcm: PcmPlanes;

  constructor(k: Kernels, private readonly source: TrackSource, trackCount: number, sampleRateHz: number) {
    this.pcm = new PcmPlanes(k, trackCount, countChunkFrames(sampleRateHz));
  }

  /** Samples of some tracks, each from its own first frame on, as f32 rows `rowFrames` apart; calls must wait for each other. */
  async load(startFrames: readonly number[], frameCount: number, tracks: readonly number[], rows: Ptr, rowFrames: number): Promise<void> {
    const { pcm } = this;
    for (let done = 0; done < frameCount; done += pcm.chunkFrames) {
      const count = Math.min(pcm.chunkFrames, frameCount - done);
      const runs = await this.source(done === 0 ? startFrames : startFrames.map((f) => f + done), count, tracks, pcm.buffer);
      pcm.write(runs, tracks, count, rows + 4 * done, rowFrames);
    }
  }
}
