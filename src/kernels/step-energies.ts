/** Energy of all tracks in short steps of a stretch, worked out block by block where it is asked for. */
import type { Ptr } from './kernel-exports.js';
import type { Kernels } from './kernels.js';
import type { LaneRegion } from './lane-records.js';

/** Second-order high-pass y = b (x - 2 x1 + x2) - a1 y1 - a2 y2. */
export interface HighPass { b: number; a1: number; a2: number }

/** Steps that are worked out together. */
const BLOCK_STEPS = 256;
/** Steps are this short at least. */
const LEAST_FRAMES = 2;

/** Bytes for the steps of a stretch. */
export function countStepBytes(trackCount: number, frameCount: number): number {
  return (Math.ceil(frameCount / LEAST_FRAMES) + BLOCK_STEPS) * (Math.ceil(trackCount / 4) * 16 + 8);
}

export class StepEnergies {
  readonly stepFrames: number;
  /** Values per step: tracks, rounded up to whole groups of four. */
  readonly laneCount: number;
  readonly stepCount: number;
  /** Sum of squares after the high-pass, [step][lane]: valid where `prepare` was called. */
  readonly values: Float32Array;
  private readonly isReady: Uint8Array;
  private readonly filter: Ptr;
  private readonly energy: Ptr;
  /** f64 by step: envelope of one track. */
  private readonly own: Ptr;
  private readonly others: Ptr;

  /** Takes memory that must live as long as the stretch. */
  constructor(private readonly k: Kernels, private readonly region: LaneRegion, filter: HighPass, stepFrames: number, private readonly warmFrames: number) {
    this.stepFrames = Math.max(LEAST_FRAMES, stepFrames);
    this.laneCount = 4 * Math.ceil(region.trackCount / 4);
    this.stepCount = Math.floor(region.frameCount / this.stepFrames);
    this.filter = k.allocF32(3);
    k.f32(this.filter, 3).set([filter.b, filter.a1, filter.a2]);
    this.energy = k.allocF32(this.stepCount * this.laneCount);
    this.values = k.f32(this.energy, this.stepCount * this.laneCount);
    this.own = k.alloc(8 * this.stepCount);
    this.others = k.alloc(24 * this.laneCount);
    this.isReady = new Uint8Array(Math.ceil(this.stepCount / BLOCK_STEPS));
  }

  /** Makes the values of steps [from, to) valid. */
  prepare(from: number, to: number): void {
    const { k, region, stepFrames, laneCount } = this;
    const last = Math.min(this.isReady.length, Math.ceil(to / BLOCK_STEPS));
    for (let block = Math.max(0, Math.floor(from / BLOCK_STEPS)); block < last; block++) {
      if (this.isReady[block]) continue;
      this.isReady[block] = 1;
      const step = block * BLOCK_STEPS;
      const frame = step * stepFrames;
      const warm = Math.min(this.warmFrames, frame + region.padFrames);
      k.fn.stepEnergies(
        region.lanes + 16 * frame, region.groupBytes, laneCount / 4, warm, Math.min(BLOCK_STEPS, this.stepCount - step), stepFrames, this.filter,
        this.energy + 4 * step * laneCount,
      );
    }
  }

  /** Envelope of a track over `count` steps from `first` on, see `trackEnvelope` of the kernels: a view that the next call overwrites. Steps must be prepared. */
  followTrack(lane: number, first: number, count: number, width: number): Float64Array {
    this.k.fn.trackEnvelope(this.energy, this.laneCount, this.stepCount, lane, first, count, width >> 1, width, 1 / (width * this.stepFrames), this.own);
    return this.k.f64(this.own, count);
  }

  /** Where that envelope ends, less what the others share; see `findDryOffset` of the kernels. `noise` is not-a-number for lanes that are no others. */
  findDryOffset(first: number, count: number, from: number, high: number, hold: number, width: number, roomShare: number, noise: ArrayLike<number>, scale: ArrayLike<number>): number {
    const { k, laneCount, others } = this;
    const values = k.f64(others, 2 * laneCount);
    values.set(noise);
    values.set(scale, laneCount);
    return k.fn.findDryOffset(
      this.energy, laneCount, this.stepCount, this.own, first, count, from, high, hold, width >> 1, width, 1 / (width * this.stepFrames), roomShare,
      others, others + 8 * laneCount, others + 16 * laneCount,
    );
  }
}
