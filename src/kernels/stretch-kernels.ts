/** The kernels on one stretch of spectra: what the evidence stage asks for, over memory that lives until the next stretch. */
import type { Ptr } from './kernel-exports.js';
import type { Kernels } from './kernels.js';

/** A stretch in the kernels' memory. */
export interface StretchRegion {
  trackCount: number;
  frameCount: number;
  binCount: number;
  /** f32 [track][frame][bin]. */
  power: Ptr;
}

export interface OwnershipValues {
  /** [frame][bin] track that owns the bin, 255 = nobody. */
  owner: Uint8Array;
  /** [frame][bin] lead of the owner over the second track, dB. */
  leadDb: Float32Array;
}

/** Bands of `flagEvenFrames`. */
export const EVEN_BANDS = 8;

/** Bytes that the methods take for a stretch, beside its spectra and powers. */
export function countStretchBytes(trackCount: number, frameCount: number, binCount: number): number {
  const perFrame = binCount * 5 + trackCount * (1 + 1 + 4 * 4) + EVEN_BANDS * 4;
  return frameCount * perFrame + trackCount * binCount * 4 + (1 << 16);
}

/** All results are views that live as long as the stretch. */
export class StretchKernels {
  private readonly floorPtr = new Map<object, Ptr>();
  private owner: { values: Uint8Array; ptr: Ptr; owned: Ptr; bins: readonly [number, number] } | undefined;

  constructor(private readonly k: Kernels, readonly region: StretchRegion) {}

  /** Whether a band [first, end) can be worked on by these kernels. */
  fitsBand(bins: readonly [number, number]): boolean {
    return bins[0] >= 1 && bins[1] - bins[0] >= 4 && bins[1] < this.region.binCount && this.region.trackCount <= 16;
  }

  /**
   * Per track, frames whose eight bands all rise over the floor by more than `leastRatio` and, but for the largest, lie within `spreadRatio`
   * of the smallest, after a mean over 2 radius + 1 frames.
   * @param edges nine ascending bins
   */
  flagEvenFrames(floors: readonly Float32Array[], edges: readonly number[], radius: number, leastRatio: number, spreadRatio: number): Uint8Array[] {
    const { k } = this;
    const { trackCount, frameCount, binCount } = this.region;
    const floor = this.placeFloors(floors);
    const flags = k.alloc(trackCount * frameCount);
    const before = k.mark();
    const edge = k.alloc(4 * edges.length);
    k.i32(edge, edges.length).set(edges);
    const rise = k.allocF32(frameCount * EVEN_BANDS);
    for (let j = 0; j < trackCount; j++) {
      k.fn.bandRise(this.powerOf(j), frameCount, binCount, floor + 4 * j * binCount, edge, rise);
      k.fn.flagEvenFrames(rise, frameCount, radius, leastRatio, spreadRatio, flags + j * frameCount);
    }
    k.release(before);
    return floors.map((_, j) => k.u8(flags + j * frameCount, frameCount));
  }

  /** See `mapOwnership` of the kernels. `scale` divides by the receivers' gains. */
  mapOwnership(
    floors: readonly Float32Array[], scale: ArrayLike<number>, lost: readonly Uint8Array[], bins: readonly [number, number], leastSnr: number,
  ): OwnershipValues {
    const { k } = this;
    const { trackCount, frameCount, binCount, power } = this.region;
    const floor = this.placeFloors(floors);
    const owner = k.alloc(frameCount * binCount);
    const lead = k.allocF32(frameCount * binCount);
    const owned = k.allocF32(trackCount * frameCount);
    const before = k.mark();
    const scalePtr = k.allocF32(trackCount);
    k.f32(scalePtr, trackCount).set(scale);
    const lostPtr = k.alloc(trackCount * frameCount);
    lost.forEach((flags, j) => k.u8(lostPtr + j * frameCount, frameCount).set(flags));
    const scratch = k.alloc(k.fn.ownershipScratchBytes());
    k.fn.mapOwnership(power, frameCount, binCount, trackCount, floor, scalePtr, lostPtr, bins[0], bins[1], leastSnr, scratch, owner, lead, owned);
    k.release(before);
    this.owner = { values: k.u8(owner, frameCount * binCount), ptr: owner, owned, bins };
    return { owner: this.owner.values, leadDb: k.f32(lead, frameCount * binCount) };
  }

  /** Whether `owner` is what `mapOwnership` gave last, on this band. */
  knowsOwner(owner: Uint8Array, bins: readonly [number, number]): boolean {
    const o = this.owner;
    return o !== undefined && o.values === owner && o.bins[0] === bins[0] && o.bins[1] === bins[1];
  }

  /** Per frame, what a track's owned bins hold over the floor; with a pedestal (a multiple of the floor per frame) over that, where it is not 1. */
  sumOwned(floor: Float32Array, track: number, pedestal?: Float32Array): Float32Array {
    const { k, owner } = this;
    const { frameCount, binCount } = this.region;
    if (!owner) throw new Error('sumOwned before mapOwnership');
    const owned = owner.owned + 4 * track * frameCount;
    if (!pedestal) return k.f32(owned, frameCount);
    const over = k.allocF32(frameCount);
    const before = k.mark();
    const lift = this.place(pedestal);
    k.fn.sumOwnedOver(this.powerOf(track), frameCount, binCount, this.placeFloor(floor), owner.ptr, track, owner.bins[0], owner.bins[1], lift, owned, over);
    k.release(before);
    return k.f32(over, frameCount);
  }

  /** Per frame, `factor` times the order statistic `rank` of power over floor in the band, at least 1; 1 where the level is below `leastDb`. */
  findPedestal(
    floor: Float32Array, track: number, levelDb: Float32Array, bins: readonly [number, number], leastDb: number, rank: number, factor: number,
  ): Float32Array {
    const { k } = this;
    const { frameCount, binCount } = this.region;
    const out = k.allocF32(frameCount);
    const floorPtr = this.placeFloor(floor);
    const before = k.mark();
    const scratch = k.allocF32(bins[1] - bins[0] + 3);
    k.fn.findPedestal(this.powerOf(track), frameCount, binCount, floorPtr, this.place(levelDb), leastDb, bins[0], bins[1], rank, factor, scratch, out);
    k.release(before);
    return k.f32(out, frameCount);
  }

  private powerOf(track: number): Ptr {
    return this.region.power + 4 * track * this.region.frameCount * this.region.binCount;
  }

  private place(values: Float32Array): Ptr {
    const ptr = this.k.allocF32(values.length);
    this.k.f32(ptr, values.length).set(values);
    return ptr;
  }

  /** Floors of all tracks in one piece, copied once per stretch. */
  private placeFloors(floors: readonly Float32Array[]): Ptr {
    const known = this.floorPtr.get(floors);
    if (known !== undefined) return known;
    const { binCount } = this.region;
    const ptr = this.k.allocF32(floors.length * binCount);
    floors.forEach((floor, j) => {
      const at = ptr + 4 * j * binCount;
      this.k.f32(at, binCount).fill(NaN).set(floor);
      this.floorPtr.set(floor, at);
    });
    this.floorPtr.set(floors, ptr);
    return ptr;
  }

  private placeFloor(floor: Float32Array): Ptr {
    return this.floorPtr.get(floor) ?? this.placeFloors([floor]);
  }
}
