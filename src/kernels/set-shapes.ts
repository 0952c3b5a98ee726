/** The kernels that say what a set of bins of one track is like, in frequency, in time and from frame to frame. */
import type { Ptr } from './kernel-exports.js';
import type { Kernels } from './kernels.js';
import type { StretchRegion } from './stretch-kernels.js';

/** Shape of a set; `bands` and `voice` are views until the next call. See `describeSpectrum`, `describeCourse`, `voicePattern` and `correlateShifted` of the kernels. */
export interface SetShape {
  total: number;
  top: number;
  peakBin: number;
  centroidBin: number;
  entropy: number;
  /** Mean square distance from the centroid, bins. */
  spread: number;
  bands: Float64Array;
  voice: Float64Array;
  likeness: number;
  /** Of the energies by frame: sum, largest, largest of the first three, entropy. */
  course: { sum: number; most: number; early: number; entropy: number };
}

/** Sums over frames, see `meanTexture` of the kernels. */
export interface TextureSums { flat: number; steady: number; rise: number }

/** Sums and likenesses of the parts of a sound, see `compareParts` of the kernels. */
export interface PartSums { start: number; rest: number; before: number; likeRest: number; likeBefore: number; late: number; early: number }

/** Frames that a sound covers, what comes before it, where its beginning ends, and how many are half of it. */
export interface PartFrames { before: number; start: number; split: number; end: number; half: number }

/** Numbers of the results: 22 of the spectrum, 4 of the course, 16 of the voice, 3 of the texture, 7 of the parts. */
const COURSE_AT = 22, VOICE_AT = 26, TEXTURE_AT = 42, PARTS_AT = 45, RESULT_NUMBERS = 52;
const BANDS_AT = 6;
const VOICE_SCRATCH = 192;

export class SetShapes {
  private place: { result: Ptr; values: Float64Array; bands: Float64Array; voice: Float64Array; scratch: Ptr } | undefined;

  constructor(
    private readonly k: Kernels, private readonly region: StretchRegion, private readonly placeFloor: (floor: Float32Array) => Ptr,
    private readonly placeSet: (set: Uint32Array) => Ptr,
  ) {}

  /**
   * What a set of a track's bins holds over the floor in frames [startFrame, endFrame), as a spectrum over the bins [bins[0], bins[1]) and as a course in time.
   * @param shifts first and last shift of the likeness of the spectrum to itself
   * @param places band of every bin, of 16
   */
  describe(
    floor: Float32Array, track: number, set: Uint32Array, startFrame: number, endFrame: number, bins: readonly [number, number], shifts: readonly [number, number],
    places: Uint8Array,
  ): SetShape {
    const { k } = this;
    const { binCount } = this.region;
    const { result, values, bands, voice, scratch } = this.getPlace();
    const floorPtr = this.placeFloor(floor);
    const before = k.mark();
    const [spectrum, inTime, work, placePtr] = [k.alloc(8 * binCount), k.alloc(8 * (endFrame - startFrame)), k.alloc(8 * binCount), k.alloc(places.length)];
    k.u8(placePtr, places.length).set(places);
    k.fn.sumSetShape(this.powerOf(track), binCount, floorPtr, this.placeSet(set), set.length, startFrame, endFrame, spectrum, inTime);
    const likeness = k.fn.correlateShifted(spectrum, bins[0], bins[1], shifts[0], shifts[1], work);
    k.fn.describeSpectrum(spectrum, bins[0], bins[1], placePtr, result);
    k.fn.describeCourse(inTime, endFrame - startFrame, result + 8 * COURSE_AT);
    k.fn.voicePattern(spectrum, bins[0], bins[1], scratch, result + 8 * VOICE_AT);
    k.release(before);
    const c = COURSE_AT;
    return {
      total: values[0], top: values[1], peakBin: values[2], centroidBin: values[3], entropy: values[4], spread: values[5], bands, voice, likeness,
      course: { sum: values[c], most: values[c + 1], early: values[c + 2], entropy: values[c + 3] },
    };
  }

  /**
   * Sums over frames [startFrame, endFrame) of a track's flatness in the band, of the likeness to the frame `lag` before, and of power over floor in the bins
   * `high` (those of the region's sums, where it has some).
   */
  describeFrames(
    floor: Float32Array, track: number, startFrame: number, endFrame: number, bins: readonly [number, number], lag: number, high: readonly [number, number],
  ): TextureSums {
    const { k } = this;
    const { binCount, frameCount, sums } = this.region;
    const { result, values } = this.getPlace();
    const floorPtr = this.placeFloor(floor);
    const before = k.mark();
    const count = endFrame - startFrame;
    const texture = k.allocF32(6 * count);
    const [highFirst, highEnd] = sums ? [0, 0] : [high[0], Math.max(...high)];
    k.fn.frameTexture(this.powerOf(track), binCount, floorPtr, startFrame, endFrame, bins[0], bins[1], lag, highFirst, highEnd, texture);
    const known = sums ? sums.high + 4 * (track * frameCount + startFrame) : 0;
    k.fn.meanTexture(texture, count, bins[1] - bins[0], lag, known, result + 8 * TEXTURE_AT);
    k.release(before);
    return { flat: values[TEXTURE_AT], steady: values[TEXTURE_AT + 1], rise: values[TEXTURE_AT + 2] };
  }

  /** How far the tones of a set that begins at `startFrame` keep their frequency over `lag` frames, 0..1. */
  measureHeld(track: number, set: Uint32Array, startFrame: number, lag: number): number {
    const { k } = this;
    const { binCount, keptBins, trackCount, spectra } = this.region;
    const placed = this.placeSet(set);
    const before = k.mark();
    const held = k.fn.heldTones(spectra, keptBins, trackCount, track, binCount, placed, set.length, startFrame, lag, k.alloc(24 * binCount));
    k.release(before);
    return held;
  }

  /** The beginning of a set beside its rest, all of the track before it beside the set, and how it fades. */
  compareParts(floor: Float32Array, track: number, set: Uint32Array, frames: PartFrames, bins: readonly [number, number]): PartSums {
    const { k } = this;
    const { binCount } = this.region;
    const { result, values } = this.getPlace();
    const floorPtr = this.placeFloor(floor), placed = this.placeSet(set);
    const mark = k.mark();
    const { before, start, split, end, half } = frames, at = PARTS_AT;
    k.fn.compareParts(
      this.powerOf(track), binCount, floorPtr, placed, set.length, before, start, split, end, half, bins[0], bins[1], k.alloc(24 * binCount), result + 8 * at,
    );
    k.release(mark);
    return {
      start: values[at], rest: values[at + 1], before: values[at + 2], likeRest: values[at + 3], likeBefore: values[at + 4], late: values[at + 5], early: values[at + 6],
    };
  }

  private powerOf(track: number): Ptr {
    return this.region.power + 4 * track * this.region.frameCount * this.region.binCount;
  }

  /** Memory for results, as long as the stretch. */
  private getPlace(): NonNullable<SetShapes['place']> {
    if (this.place) return this.place;
    const { k } = this;
    const result = k.alloc(8 * RESULT_NUMBERS), values = k.f64(result, RESULT_NUMBERS);
    this.place = { result, values, bands: values.subarray(BANDS_AT, COURSE_AT), voice: values.subarray(VOICE_AT, TEXTURE_AT), scratch: k.alloc(8 * VOICE_SCRATCH) };
    return this.place;
  }
}
