/** The kernels on one stretch of spectra: what the evidence stage asks for, over memory that lives until the next stretch. */
import { countStepBytes, StepEnergies, type HighPass } from './step-energies.js';
import { BinCollector, type OwnerRegion } from './bin-collector.js';
import type { Ptr } from './kernel-exports.js';
import type { Kernels } from './kernels.js';
import type { LaneRegion } from './lane-records.js';
import { SetShapes } from './set-shapes.js';
import type { BandSums } from './stft.js';

/** A stretch in the kernels' memory. */
export interface StretchRegion {
  trackCount: number;
  frameCount: number;
  /** Bins of a row of powers. */
  binCount: number;
  /** f32 [track][frame][bin]. */
  power: Ptr;
  /** What turns |X|^2 into power. */
  powerScale: number;
  /** [frame][bin 0 .. keptBins-1][group][re x 4][im x 4]. */
  spectra: Ptr;
  keptBins: number;
  signal: LaneRegion;
  /** Sums over all bins where rows of powers do not hold them. */
  sums?: BandSums;
}

/** Transform that lags are read from: two steps per sample. */
export interface LagTransform {
  size: number;
  table: Ptr;
}

/** What the peak of one track's correlation against another says; lags in steps of the transform. */
export interface SetLag {
  step: number;
  before: number;
  peak: number;
  after: number;
  atZero: number;
  weightSum: number;
  squareSum: number;
}

/** Sums over a set of bins per track: power over the floor below and from the split on, and the floor. */
export interface SetLevels {
  low: Float64Array;
  high: Float64Array;
  noise: Float64Array;
}

export interface OwnershipValues {
  /** [frame][bin] track that owns the bin, 255 = nobody. */
  owner: Uint8Array;
  /** [frame][bin] lead of the owner over the second track, dB. */
  leadDb: Float32Array;
}

/** Bands of `flagEvenFrames`. */
export const EVEN_BANDS = 8;

/** Tables for lags of transforms of `fftSize` samples; none where the kernels have no transform of twice the size. */
export function createLagTransform(k: Kernels, fftSize: number): LagTransform | undefined {
  const size = 2 * fftSize;
  if (!k.fn.fftKnowsSize(size)) return undefined;
  const table = k.alloc(k.fn.fftTableBytes(size));
  k.fn.fftPrepare(size, table);
  return { size, table };
}

/** Bytes that the methods take for a stretch, beside its spectra, powers and signals. */
export function countStretchBytes(trackCount: number, frameCount: number, binCount: number, signalFrames: number): number {
  const groups = Math.ceil(trackCount / 4);
  const perFrame = binCount * 5 + trackCount * (1 + 1 + 4 * 6) + 8 + EVEN_BANDS * 4;
  // One candidate at a time: its set with the own track's phases and the inverse transform, or its envelopes.
  const candidate = frameCount * binCount * 12 + binCount * groups * 224;
  return frameCount * perFrame + binCount * (trackCount * 4 + groups * 16) + candidate + countStepBytes(trackCount, signalFrames) + (1 << 18);
}

/** All results are views that live as long as the stretch. */
export class StretchKernels {
  private readonly noisePtr = new Map<object, Ptr>();
  private readonly floorPtr = new Map<object, Ptr>();
  private owner: OwnerRegion | undefined;
  private steps: StepEnergies | undefined;
  /** What bins of a stretch of frames hold; after `mapOwnership`. */
  readonly bins: BinCollector;
  /** What a set of bins of a track is like. */
  readonly shapes: SetShapes;

  constructor(private readonly k: Kernels, readonly region: StretchRegion, private readonly lagTransform?: LagTransform) {
    this.bins = new BinCollector(k, region, () => this.owner, (floors) => this.placeFloors(floors));
    this.shapes = new SetShapes(k, region, (floor) => this.placeFloor(floor), (set) => this.placeSet(set));
  }

  /** Whether a band [first, end) can be worked on by these kernels. */
  fitsBand(bins: readonly [number, number]): boolean {
    return bins[0] >= 1 && bins[1] - bins[0] >= 4 && bins[1] < this.region.binCount && this.region.trackCount <= 16;
  }

  /**
   * Per track, frames whose eight bands all rise over the floor by more than `leastRatio` and, but for the largest, lie within `spreadRatio`
   * of the smallest, after a mean over 2 radius + 1 frames.
   * @param edges nine ascending bins; those of the region's sums, where it has some
   */
  flagEvenFrames(floors: readonly Float32Array[], edges: readonly number[], radius: number, leastRatio: number, spreadRatio: number): Uint8Array[] {
    const { k } = this;
    const { trackCount, frameCount, binCount } = this.region;
    const flags = k.alloc(trackCount * frameCount);
    const known = this.region.sums;
    const floor = known ? 0 : this.placeFloors(floors);
    const before = k.mark();
    const edge = k.alloc(4 * edges.length);
    k.i32(edge, edges.length).set(edges);
    const own = k.allocF32(known ? 0 : frameCount * EVEN_BANDS);
    for (let j = 0; j < trackCount; j++) {
      const rise = known ? known.rise + 4 * j * frameCount * EVEN_BANDS : own;
      if (!known) k.fn.bandRise(this.powerOf(j), frameCount, binCount, floor + 4 * j * binCount, edge, rise);
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
    const lostPtr = k.alloc(trackCount * frameCount);
    const before = k.mark();
    const scalePtr = k.allocF32(trackCount);
    k.f32(scalePtr, trackCount).set(scale);
    lost.forEach((flags, j) => k.u8(lostPtr + j * frameCount, frameCount).set(flags));
    const scratch = k.alloc(k.fn.ownershipScratchBytes(binCount, trackCount));
    k.fn.mapOwnership(power, frameCount, binCount, trackCount, floor, scalePtr, lostPtr, bins[0], bins[1], leastSnr, scratch, owner, lead, owned);
    k.release(before);
    this.owner = { values: k.u8(owner, frameCount * binCount), ptr: owner, lead, lost: lostPtr, owned, bins };
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

  /** Sums per frame over those of the floor as a level, dB; see `smoothLevel` of the kernels. Lives as long as the stretch. */
  smoothLevel(sums: Float32Array, floorSum: number): Float32Array {
    const { k } = this;
    const level = k.allocF32(sums.length);
    const before = k.mark();
    k.fn.smoothLevel(this.place(sums), sums.length, floorSum, level);
    k.release(before);
    return k.f32(level, sums.length);
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

  /** Whether lags of up to `maxSteps` half samples can be read. */
  fitsLags(maxSteps: number): boolean {
    return this.lagTransform !== undefined && maxSteps < this.lagTransform.size / 2;
  }

  /**
   * Over a set of bins (frame * binCount + bin): the lag of every track after track `own`, its power over the floor, split at a bin, and its floor;
   * see `measureSet` of the kernels.
   */
  measureSet(floors: readonly Float32Array[], own: number, set: Uint32Array, maxSteps: number, splitBin: number): { lags: SetLag[]; levels: SetLevels } {
    const { k, lagTransform: fft } = this;
    const { trackCount, binCount, spectra, keptBins, powerScale } = this.region;
    if (!fft) throw new Error('measureSet without a transform');
    const noise = this.placeNoise(floors);
    const before = k.mark();
    const setPtr = this.placeSet(set);
    const groups = Math.ceil(trackCount / 4);
    const result = k.allocF32(28 * groups), levels = k.alloc(96 * groups);
    const scratch = k.alloc(k.fn.setScratchBytes(fft.size, trackCount, set.length));
    k.fn.measureSet(spectra, keptBins, binCount, trackCount, noise, own, setPtr, set.length, fft.size, fft.table, maxSteps, scratch, result, powerScale, splitBin, levels);
    const values = k.f32(result, 28 * groups), sums = k.f64(levels, 12 * groups);
    k.release(before);
    const out: SetLevels = { low: new Float64Array(trackCount), high: new Float64Array(trackCount), noise: new Float64Array(trackCount) };
    const lags: SetLag[] = [];
    for (let j = 0; j < trackCount; j++) {
      const s = 12 * (j >> 2) + (j & 3), v = 28 * (j >> 2) + (j & 3);
      out.low[j] = sums[s];
      out.high[j] = sums[s + 4];
      out.noise[j] = sums[s + 8];
      lags.push({
        step: values[v], before: values[v + 4], peak: values[v + 8], after: values[v + 12], atZero: values[v + 16], weightSum: values[v + 20], squareSum: values[v + 24],
      });
    }
    return { lags, levels: out };
  }

  /** Energy above the band's lower edge in short steps, worked out where it is asked for; see `stepEnergies` of the kernels. */
  getSteps(filter: HighPass, stepFrames: number, warmFrames: number): StepEnergies {
    this.steps ??= new StepEnergies(this.k, this.region.signal, filter, stepFrames, warmFrames);
    return this.steps;
  }

  private placeSet(set: Uint32Array): Ptr {
    const known = this.k.find(set);
    if (known !== undefined) return known;
    const ptr = this.k.alloc(4 * set.length);
    this.k.u32(ptr, set.length).set(set);
    return ptr;
  }

  /** Floors by bin and lane, in units of |X|^2, infinite where there is no track; copied once per stretch. */
  private placeNoise(floors: readonly Float32Array[]): Ptr {
    const known = this.noisePtr.get(floors);
    if (known !== undefined) return known;
    const { binCount, trackCount, powerScale } = this.region;
    const lanes = 4 * Math.ceil(trackCount / 4);
    const ptr = this.k.allocF32(lanes * binCount);
    const values = this.k.f32(ptr, lanes * binCount).fill(Infinity);
    floors.forEach((floor, j) => {
      for (let b = 0; b < binCount; b++) values[b * lanes + j] = floor[b] / powerScale;
    });
    this.noisePtr.set(floors, ptr);
    return ptr;
  }

  private powerOf(track: number): Ptr {
    return this.region.power + 4 * track * this.region.frameCount * this.region.binCount;
  }

  private place(values: Float32Array): Ptr {
    const known = this.k.find(values);
    if (known !== undefined) return known;
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
      this.k.f32(at, binCount).fill(NaN).set(floor.length > binCount ? floor.subarray(0, binCount) : floor);
      this.floorPtr.set(floor, at);
    });
    this.floorPtr.set(floors, ptr);
    return ptr;
  }

  private placeFloor(floor: Float32Array): Ptr {
    return this.floorPtr.get(floor) ?? this.placeFloors([floor]);
  }
}
