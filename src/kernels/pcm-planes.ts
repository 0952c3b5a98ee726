/** Bytes as they lie in files to planar samples and back, within the kernels' memory. */
import type { Ptr } from './kernel-exports.js';
import type { Kernels } from './kernels.js';
import { countBufferBytes, eachPiece, type LaneRun } from './lane-records.js';

/** Memory to read bytes into, and their way to planar rows. */
export class PcmPlanes {
  /** Memory to read into: `chunkFrames` frames of all tracks. */
  readonly buffer: Uint8Array;
  private readonly bufferPtr: Ptr;
  private readonly records: Ptr;

  constructor(private readonly k: Kernels, trackCount: number, readonly chunkFrames: number) {
    const bytes = countBufferBytes(trackCount, chunkFrames);
    this.bufferPtr = k.alloc(bytes);
    this.buffer = k.u8(this.bufferPtr, bytes);
    this.records = k.alloc(48);
  }

  /** Writes `count` frames of some tracks, each to its place, `rowFrames` apart; what no run covers is 0. */
  write(runs: readonly LaneRun[], tracks: readonly number[], count: number, rows: Ptr, rowFrames: number): void {
    const { k, records } = this, placed: LaneRun[] = [];
    for (const run of runs) {
      const place = tracks.indexOf(run.trackIndex);
      if (place >= 0) placed.push({ ...run, trackIndex: place });
    }
    for (let t = 0; t < tracks.length; t += 4) {
      const to = rows + 4 * t * rowFrames, width = Math.min(4, tracks.length - t);
      eachPiece(k, records, this.bufferPtr, placed, t >> 2, 0, count, (from, frames) => k.fn.planesFromPcm(records, width, frames, to + 4 * from, 4 * rowFrames));
    }
  }
}

/** Bytes of kernel memory that `PcmPlanes` takes. */
export function countPlanesBytes(trackCount: number, chunkFrames: number): number {
  return countBufferBytes(trackCount, chunkFrames) + 128;
}

/** Samples to the integers of a file; 32-bit floats stay what they are. `codes` and `samples` must not overlap. */
export function encodeSamples(k: Kernels, samples: Ptr, count: number, bytesPerSample: 2 | 3 | 4, codes: Ptr): void {
  if (bytesPerSample === 2) k.fn.codes16(samples, count, codes);
  else if (bytesPerSample === 3) k.fn.codes24(samples, count, codes);
  else k.u8(codes, 4 * count).set(k.u8(samples, 4 * count));
}
