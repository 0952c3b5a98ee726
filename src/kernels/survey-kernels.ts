/** The kernels of the first look at a recording: bytes to lanes, energy of the call band per hop, sparse spectra and their low quantiles. */
import { cosTurn, sinTurn } from '../numeric/elementary.js';
import type { Ptr } from './kernel-exports.js';
import type { Kernels } from './kernels.js';
import { CODINGS, countBufferBytes, eachPiece, SAMPLE_BYTES, type LaneRun } from './lane-records.js';
import { createStftPlan, type StftPlan } from './stft.js';

/** Hops of one slot: the grain of activity. */
export const SLOT_HOPS = 8;
/** Slots that are worked on while they are in the second cache, and that are read at a time. */
const BLOCK_SLOTS = 8;
const CHUNK_SLOTS = 128;

export interface SurveyShape {
  fftSize: number;
  hopFrames: number;
  trackCount: number;
  /** Most slots between two calls of `start`, without the one before them. */
  mostSlots: number;
  /** Of so many slots one has its spectrum taken. */
  rowEvery: number;
  sampleRateHz: number;
  bandHz: readonly [number, number];
  /** Coefficients of a filter that may be given, a multiple of 4; none where it is left out. */
  tapCount?: number;
}

/** Second-order Butterworth sections by the bilinear transform (Oppenheim & Schafer 7.1): b a1 a2 of the high-pass, then of the low-pass. */
export function designBand(bandHz: readonly [number, number], sampleRateHz: number): Float64Array {
  // A little wider than the band, so that calls at its edges count in full.
  const low = 0.8 * bandHz[0], high = Math.min(1.2 * bandHz[1], 0.47 * sampleRateHz);
  const section = (edgeHz: number, isLow: boolean): number[] => {
    const k = sinTurn(edgeHz / (2 * sampleRateHz)) / cosTurn(edgeHz / (2 * sampleRateHz));
    const norm = 1 / (1 + Math.SQRT2 * k + k * k);
    return [isLow ? k * k * norm : norm, 2 * (k * k - 1) * norm, (1 - Math.SQRT2 * k + k * k) * norm];
  };
  return Float64Array.from([...section(low, false), ...section(high, true)]);
}

/** |H|^2 of the sections at every bin of a transform. */
export function computeBandResponse(filter: ArrayLike<number>, fftSize: number): Float64Array {
  return Float64Array.from({ length: fftSize / 2 + 1 }, (_, bin) => {
    const c = cosTurn(bin / fftSize), c2 = cosTurn((2 * bin) / fftSize), s = sinTurn(bin / fftSize), s2 = sinTurn((2 * bin) / fftSize);
    // |1 -+ z^-1|^4 over |1 + a1 z^-1 + a2 z^-2|^2.
    const part = (b: number, a1: number, a2: number, sign: number): number => (b * (2 + 2 * sign * c)) ** 2 / ((1 + a1 * c + a2 * c2) ** 2 + (a1 * s + a2 * s2) ** 2);
    return part(filter[0], filter[1], filter[2], -1) * part(filter[3], filter[4], filter[5], 1);
  });
}

/** Bytes of kernel memory that `SurveyKernels` needs. */
export function countSurveyBytes(shape: SurveyShape): number {
  const groups = Math.ceil(shape.trackCount / 4), bins = shape.fftSize / 2 + 1, rows = Math.ceil(shape.mostSlots / shape.rowEvery);
  const slotFrames = SLOT_HOPS * shape.hopFrames;
  return 2 * countBufferBytes(shape.trackCount, CHUNK_SLOTS * slotFrames) + BLOCK_SLOTS * slotFrames * groups * 16 + (32 * groups + 4) * (shape.tapCount ?? 0)
    + (shape.mostSlots + 1) * SLOT_HOPS * groups * 16 + (rows + 1) * bins * groups * 16 + rows * 16 + 80 * shape.fftSize + (1 << 18);
}

/** One cell of a survey in the kernels' memory. */
export class SurveyKernels {
  readonly slotFrames: number;
  readonly chunkSlots = CHUNK_SLOTS;
  readonly binCount: number;
  /** Values per hop, and per bin of a row: tracks, rounded up to whole groups of four. */
  readonly laneCount: number;
  /** Memory to read into, two pieces in turn. */
  readonly buffers: readonly [Uint8Array, Uint8Array];
  /** |H|^2 of the band filter per bin. */
  readonly response: Float64Array;
  private readonly bufferPtr: readonly [Ptr, Ptr];
  private readonly groups: number;
  private readonly plan: StftPlan;
  private readonly records: Ptr;
  private readonly lanes: Ptr;
  private readonly laneBytes: number;
  private readonly band: Ptr;
  private readonly taps: Ptr;
  private readonly tapCount: number;
  /** The last frames before the next block as they were recorded, [group][tapCount]. */
  private readonly recent: Ptr;
  private isFiltered = false;
  private readonly state: Ptr;
  private readonly energy: Ptr;
  private readonly rows: Ptr;
  private readonly scratch: Ptr;
  private readonly found: Ptr;
  /** Slots taken since `start`, the first of them only to warm the filter up. */
  private taken = 0;
  /** Slots since `start` that held something, or into which the filters still sounded. */
  private heard = 0;

  constructor(private readonly k: Kernels, private readonly shape: SurveyShape) {
    const { fftSize, hopFrames, trackCount, mostSlots, rowEvery } = shape;
    this.groups = Math.ceil(trackCount / 4);
    this.laneCount = 4 * this.groups;
    this.slotFrames = SLOT_HOPS * hopFrames;
    this.plan = createStftPlan(k, { fftSize, hopFrames: this.slotFrames });
    this.binCount = this.plan.binCount;
    const chunkBytes = countBufferBytes(trackCount, CHUNK_SLOTS * this.slotFrames);
    this.bufferPtr = [k.alloc(chunkBytes), k.alloc(chunkBytes)];
    this.buffers = [k.u8(this.bufferPtr[0], chunkBytes), k.u8(this.bufferPtr[1], chunkBytes)];
    this.records = k.alloc(48);
    this.tapCount = shape.tapCount ?? 0;
    this.laneBytes = (BLOCK_SLOTS * this.slotFrames + this.tapCount) * 16;
    this.lanes = k.alloc(this.groups * this.laneBytes) + 16 * this.tapCount;
    this.taps = k.allocF32(this.tapCount);
    this.recent = k.alloc(this.groups * this.tapCount * 16);
    this.band = k.allocF32(6);
    const design = designBand(shape.bandHz, shape.sampleRateHz);
    k.f32(this.band, 6).set(design);
    this.response = computeBandResponse(design, fftSize);
    this.state = k.alloc((this.groups + 1) * 64);
    this.energy = k.alloc((mostSlots + 1) * SLOT_HOPS * this.groups * 16);
    const rowCount = Math.ceil(mostSlots / rowEvery);
    this.rows = k.alloc(rowCount * this.binCount * this.groups * 16);
    this.scratch = k.alloc(Math.max(rowCount * 16, 48 * fftSize + 64));
    this.found = k.alloc(this.binCount * this.groups * 16 + 64);
  }

  /**
   * Forgets all that was taken. The first slot taken from now on only warms the filters up.
   * @param taps a filter that all tracks pass before anything is measured: `tapCount` coefficients, or none
   */
  start(taps?: Float32Array): void {
    this.k.f32(this.state, (this.groups + 1) * 16).fill(0);
    this.k.f32(this.recent, this.groups * this.tapCount * 4).fill(0);
    this.isFiltered = taps !== undefined && taps.length > 0;
    if (taps && this.isFiltered) this.k.f32(this.taps, this.tapCount).set(taps);
    this.taken = 0;
    this.heard = 0;
  }

  /** Whether all that was taken since `start` is silence: no energy, and rows of nothing. */
  get isSilent(): boolean {
    return this.heard === 0;
  }

  /** Takes `slotCount` slots whose samples lie in a buffer as the runs say; what no run covers is silence. */
  take(buffer: 0 | 1, runs: readonly LaneRun[], slotCount: number): void {
    const { k, groups, shape, slotFrames } = this;
    const isNothing = runs.every((run) => this.isNothing(buffer, run));
    for (let done = 0; done < slotCount; done += BLOCK_SLOTS) {
      const slots = Math.min(BLOCK_SLOTS, slotCount - done);
      if (isNothing && this.isAtRest()) {
        this.takeNothing(slots);
        continue;
      }
      for (let g = 0; g < groups; g++) this.fillLanes(buffer, runs, g, done * slotFrames, slots * slotFrames);
      if (this.isFiltered) this.filterBlock(slots * slotFrames);
      k.fn.bandHops(this.lanes, this.laneBytes, groups, slots * SLOT_HOPS, shape.hopFrames, this.band, this.state, this.energy + this.taken * SLOT_HOPS * groups * 16);
      for (let s = 0; s < slots; s++) this.takeSpectrum(this.taken + s - 1, s);
      this.taken += slots;
      this.heard += slots;
    }
  }

  /** Whether a run holds zeros only. */
  private isNothing(buffer: 0 | 1, { byteOffset, strideBytes, coding, frameCount }: LaneRun): boolean {
    const bytes = this.buffers[buffer], zero = coding === 'u8' ? 128 : 0;
    for (let i = 0; i < SAMPLE_BYTES[coding]; i++) if (bytes[byteOffset + i] !== zero) return false;
    return frameCount > 0 && this.countSame(buffer, byteOffset, strideBytes, coding, frameCount) === frameCount;
  }

  /** Whether the filters have nothing left of what was taken before: of zeros they make zeros then. */
  private isAtRest(): boolean {
    const { k, groups, tapCount } = this, isZero = (v: number): boolean => v === 0;
    return k.f32(this.state, (groups + 1) * 16).every(isZero) && (!this.isFiltered || k.f32(this.recent, groups * tapCount * 4).every(isZero));
  }

  /** What the kernels would make of silence, without asking them. */
  private takeNothing(slotCount: number): void {
    const { k, groups, shape, laneCount, taken } = this;
    k.f32(this.energy + taken * SLOT_HOPS * groups * 16, slotCount * SLOT_HOPS * laneCount).fill(0);
    for (let slot = taken - 1; slot < taken - 1 + slotCount; slot++) if (slot >= 0 && slot % shape.rowEvery === 0) this.readRow(slot / shape.rowEvery).fill(0);
    this.taken += slotCount;
  }

  /** Samples of a buffer from one on that equal it, at most `count`; see assembly/still.ts. */
  countSame(buffer: 0 | 1, byteOffset: number, strideBytes: number, coding: LaneRun['coding'], count: number): number {
    return this.k.fn.countSame(this.bufferPtr[buffer] + byteOffset, strideBytes, CODINGS[coding], count);
  }

  /** Rows of spectra taken. */
  get rowCount(): number {
    return Math.ceil((this.taken - 1) / this.shape.rowEvery);
  }

  /** Band energy of the hops after the first slot, [hop][lane]: mean square per hop. A view. */
  readEnergies(): Float32Array {
    return this.k.f32(this.energy + SLOT_HOPS * this.groups * 16, (this.taken - 1) * SLOT_HOPS * this.laneCount);
  }

  /** Of which tracks a row holds anything at all. */
  findSounding(row: number): boolean[] {
    const values = this.readRow(row), { laneCount } = this, sounding = new Array<boolean>(this.shape.trackCount).fill(false);
    let missing = sounding.length;
    for (let from = 0; from < values.length && missing > 0; from += laneCount) {
      for (let j = 0; j < sounding.length; j++) if (!sounding[j] && values[from + j] > 0) { sounding[j] = true; missing--; }
    }
    return sounding;
  }

  /** Takes a track's row out of the quantiles. */
  leaveOut(row: number, track: number): void {
    const values = this.readRow(row);
    for (let b = 0; b < this.binCount; b++) values[b * this.laneCount + track] = Infinity;
  }

  /** Order statistic `rank` per track over the rows, [bin][lane]: power over the window's energy. A view until the next call. */
  findQuantiles(rank: ArrayLike<number>): Float32Array {
    const { k, groups, binCount, laneCount } = this;
    const rankPtr = this.found + binCount * groups * 16;
    k.i32(rankPtr, laneCount).fill(0).set(rank);
    k.fn.lowQuantiles(this.rows, this.rowCount, binCount * groups, rankPtr, groups, this.scratch, this.found);
    return k.f32(this.found, binCount * laneCount);
  }

  private filterBlock(frameCount: number): void {
    const { k, groups, tapCount } = this;
    for (let g = 0; g < groups; g++) {
      const row = this.lanes + g * this.laneBytes, recent = k.f32(this.recent + 16 * g * tapCount, 4 * tapCount);
      k.f32(row - 16 * tapCount, 4 * tapCount).set(recent);
      recent.set(k.f32(row + 16 * (frameCount - tapCount), 4 * tapCount));
    }
    k.fn.filterLanes(this.lanes, this.laneBytes, groups, frameCount, this.taps, tapCount);
  }

  private readRow(row: number): Float32Array {
    return this.k.f32(this.rows + row * this.binCount * this.groups * 16, this.binCount * this.laneCount);
  }

  private takeSpectrum(slot: number, place: number): void {
    const { k, groups, plan, shape } = this;
    if (slot < 0 || slot % shape.rowEvery !== 0) return;
    const row = this.rows + (slot / shape.rowEvery) * this.binCount * groups * 16;
    for (let g = 0; g < groups; g++) {
      k.fn.lanePower(
        shape.fftSize, this.lanes + g * this.laneBytes + (place * this.slotFrames + (this.slotFrames - shape.fftSize) / 2) * 16, plan.window, plan.table, this.scratch, 1 / plan.windowSquareSum,
        row + g * 16, groups * 16,
      );
    }
  }

  /** Lanes of one group for frames [from, from + count) of a buffer; cut where a run of one of its tracks begins or ends. */
  private fillLanes(buffer: 0 | 1, runs: readonly LaneRun[], group: number, from: number, count: number): void {
    eachPiece(this.k, this.records, this.bufferPtr[buffer], runs, group, from, count, (start, frames) => {
      this.k.fn.lanesFromPcm(this.records, frames, this.lanes + group * this.laneBytes + (start - from) * 16);
    });
  }
}
