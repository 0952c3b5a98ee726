/** Stretches of tracks as bytes in the kernels' memory, four tracks at a time: the records that `lanesFromPcm` reads. */
import type { Ptr } from './kernel-exports.js';
import type { Kernels } from './kernels.js';

/** A stretch of one track in a buffer: sample i at byteOffset + i * strideBytes. */
export interface LaneRun {
  trackIndex: number;
  offset: number;
  frameCount: number;
  byteOffset: number;
  strideBytes: number;
  coding: 'u8' | 's16' | 's24' | 's32' | 'f32';
}

/** Numbers of the codings as kernels take them. */
export const CODINGS = { u8: 1, s16: 2, s24: 3, s32: 4, f32: 5 } as const;
export const SAMPLE_BYTES = { u8: 1, s16: 2, s24: 3, s32: 4, f32: 4 } as const;

/**
 * Calls `work` for the pieces of frames [from, from + count) of the four tracks of a group between which no run begins or ends, with the
 * records of a piece written. A track without a run has an empty record: silence.
 */
export function eachPiece(
  k: Kernels, records: Ptr, buffer: Ptr, runs: readonly LaneRun[], group: number, from: number, count: number, work: (from: number, count: number) => void,
): void {
  const own = runs.filter((r) => r.trackIndex >> 2 === group && r.offset < from + count && r.offset + r.frameCount > from);
  const cuts = [from, from + count];
  for (const r of own) {
    for (const edge of [r.offset, r.offset + r.frameCount]) if (edge > from && edge < from + count && !cuts.includes(edge)) cuts.push(edge);
  }
  cuts.sort((a, b) => a - b);
  const record = k.i32(records, 12);
  for (let c = 0; c + 1 < cuts.length; c++) {
    record.fill(0);
    for (const r of own) {
      if (r.offset > cuts[c] || r.offset + r.frameCount <= cuts[c]) continue;
      record.set([buffer + r.byteOffset + (cuts[c] - r.offset) * r.strideBytes, r.strideBytes, CODINGS[r.coding]], 3 * (r.trackIndex & 3));
    }
    work(cuts[c], cuts[c + 1] - cuts[c]);
  }
}

/** All tracks of a stretch as lanes: frame i of group g is the vector at lanes + g groupBytes + 16 i; `padFrames` of silence lie before and after. */
export interface LaneRegion {
  lanes: Ptr;
  groupBytes: number;
  trackCount: number;
  frameCount: number;
  padFrames: number;
}

/** Takes memory for a stretch, silent around its frames. */
export function placeLanes(k: Kernels, trackCount: number, frameCount: number, padFrames: number): LaneRegion {
  const groupBytes = 16 * (frameCount + 2 * padFrames);
  const groups = Math.ceil(trackCount / 4);
  const ptr = k.alloc(groups * groupBytes);
  for (let g = 0; g < groups; g++) {
    const at = ptr + g * groupBytes;
    k.f32(at, 4 * padFrames).fill(0);
    k.f32(at + groupBytes - 16 * padFrames, 4 * padFrames).fill(0);
  }
  return { lanes: ptr + 16 * padFrames, groupBytes, trackCount, frameCount, padFrames };
}

/** Bytes that `placeLanes` takes. */
export function countLaneBytes(trackCount: number, frameCount: number, padFrames: number): number {
  return Math.ceil(trackCount / 4) * 16 * (frameCount + 2 * padFrames);
}

/** Fills a stretch from samples in the host's memory. */
export function fillLanes(k: Kernels, region: LaneRegion, signals: readonly ArrayLike<number>[]): void {
  for (let g = 0; 4 * g < region.trackCount; g++) {
    const lanes = k.f32(region.lanes + g * region.groupBytes, 4 * region.frameCount).fill(0);
    for (let c = 0; c < 4 && 4 * g + c < region.trackCount; c++) {
      const x = signals[4 * g + c];
      for (let i = 0; i < region.frameCount; i++) lanes[4 * i + c] = x[i];
    }
  }
}

/** Memory to read bytes into, and their way to lanes in the same kernels' memory. */
export class PcmLanes {
  /** Memory to read into: at least `chunkFrames` frames of all tracks. */
  readonly buffer: Uint8Array;
  private readonly bufferPtr: Ptr;
  private readonly records: Ptr;

  constructor(private readonly k: Kernels, private readonly trackCount: number, readonly chunkFrames: number) {
    const bytes = countBufferBytes(trackCount, chunkFrames);
    this.bufferPtr = k.alloc(bytes);
    this.buffer = k.u8(this.bufferPtr, bytes);
    this.records = k.alloc(48);
  }

  /** Writes `count` frames of all tracks from frame `offset` of a stretch on. */
  write(runs: readonly LaneRun[], count: number, region: LaneRegion, offset: number): void {
    const { k, trackCount } = this;
    for (let g = 0; 4 * g < trackCount; g++) {
      const lanes = region.lanes + g * region.groupBytes + 16 * offset;
      eachPiece(k, this.records, this.bufferPtr, runs, g, 0, count, (from, frames) => k.fn.lanesFromPcm(this.records, frames, lanes + 16 * from));
    }
  }
}

/** Bytes that runs may lose to alignment. */
const SLACK_BYTES = 16384;

/** Bytes of a buffer for so many frames of all tracks as they lie in files, or as 32-bit floats. */
export function countBufferBytes(trackCount: number, frameCount: number): number {
  return 4 * trackCount * frameCount + SLACK_BYTES;
}
