/** The kernels that gather bins of a stretch: sets of them and sums over them. */
import type { Ptr } from './kernel-exports.js';
import type { Kernels } from './kernels.js';
import type { StretchRegion } from './stretch-kernels.js';

/** Who owns each bin, in the kernels' memory. */
export interface OwnerRegion {
  values: Uint8Array;
  /** u8 [frame][bin], f32 [frame][bin], u8 [track][frame], f32 [track][frame]. */
  ptr: Ptr;
  lead: Ptr;
  lost: Ptr;
  owned: Ptr;
  bins: readonly [number, number];
}

/** Sets that are gathered are views that the next set overwrites. */
export class BinCollector {
  /** Memory of a set. */
  private setPtr: Ptr | undefined;

  constructor(
    private readonly k: Kernels, private readonly region: StretchRegion, private readonly findOwner: () => OwnerRegion | undefined,
    private readonly placeFloors: (floors: readonly Float32Array[]) => Ptr,
  ) {}

  /** Owned bins of a stretch of frames and their sums; see `collectOwned` of the kernels. `lift` is a pedestal per frame. */
  collectOwned(floors: readonly Float32Array[], track: number, from: number, to: number, lift?: Float32Array): { set: Uint32Array; all: number; owned: number; led: number } {
    const { k } = this;
    const owner = this.requireOwner();
    const { frameCount, binCount, power } = this.region;
    const floor = this.placeFloors(floors);
    const set = this.placeSet(owner);
    const before = k.mark();
    const liftPtr = lift ? k.find(lift) ?? k.allocF32(lift.length) : 0;
    if (lift && k.find(lift) === undefined) k.f32(liftPtr, lift.length).set(lift);
    const result = k.alloc(24);
    const count = k.fn.collectOwned(power, frameCount, binCount, floor, owner.ptr, owner.lead, track, liftPtr, from, to, owner.bins[0], owner.bins[1], set, result);
    const [all, owned, led] = k.f64(result, 3);
    k.release(before);
    return { set: k.u32(set, count), all, owned, led };
  }

  /** Bins that no track leads by more than `mostLeadDb`, and how well every track hears them; see `collectShared` of the kernels. */
  collectShared(floors: readonly Float32Array[], mostLeadDb: number, from: number, to: number): { set: Uint32Array; led: number; weight: number; heard: Float64Array } {
    const { k } = this;
    const owner = this.requireOwner();
    const { trackCount, frameCount, binCount, power } = this.region;
    const floor = this.placeFloors(floors);
    const set = this.placeSet(owner);
    const before = k.mark();
    const result = k.alloc(8 * (2 + trackCount));
    const count = k.fn.collectShared(
      power, frameCount, binCount, trackCount, floor, owner.ptr, owner.lead, owner.lost, mostLeadDb, from, to, owner.bins[0], owner.bins[1], set, result,
    );
    const values = k.f64(result, 2 + trackCount);
    k.release(before);
    return { set: k.u32(set, count), led: values[0], weight: values[1], heard: values.slice(2) };
  }

  /** Per frame, shared sound over the floors of the bins' owners; lives as long as the stretch. See `sumShared` of the kernels. */
  sumShared(floors: readonly Float32Array[], floorSum: ArrayLike<number>, mostLeadDb: number): Float32Array {
    const { k } = this;
    const owner = this.requireOwner();
    const { trackCount, frameCount, binCount, power } = this.region;
    const floor = this.placeFloors(floors);
    const level = k.allocF32(frameCount);
    const before = k.mark();
    const sums = k.alloc(8 * trackCount);
    k.f64(sums, trackCount).set(floorSum);
    k.fn.sumShared(power, frameCount, binCount, floor, sums, owner.ptr, owner.lead, mostLeadDb, owner.bins[0], owner.bins[1], level);
    k.release(before);
    return k.f32(level, frameCount);
  }

  /** Power of a track in a stretch of frames where it is more than `factor` times the floor. */
  sumLoud(floors: readonly Float32Array[], track: number, factor: number, from: number, to: number, bins: readonly [number, number]): number {
    const { frameCount, binCount, power } = this.region;
    return this.k.fn.sumLoud(power, frameCount, binCount, this.placeFloors(floors), track, factor, from, to, bins[0], bins[1]);
  }

  private placeSet(owner: OwnerRegion): Ptr {
    this.setPtr ??= this.k.alloc(4 * this.region.frameCount * (owner.bins[1] - owner.bins[0]));
    return this.setPtr;
  }

  private requireOwner(): OwnerRegion {
    const owner = this.findOwner();
    if (!owner) throw new Error('bins are gathered after mapOwnership');
    return owner;
  }
}
