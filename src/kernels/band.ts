/** Band-pass, band energy and noise floor of all tracks, streaming: state is carried from call to call. */
import { VolaryError } from '../schema/errors.js';
import type { Ptr } from './kernel-exports.js';
import type { Kernels } from './kernels.js';
import type { SignalRegion } from './stft.js';

/** Sections, state and scratch of one filter over all tracks. */
export interface BandFilter {
  readonly trackCount: number;
  readonly sectionCount: number;
  /** Frames per hop of `writeEnvelope`, and per block of `filterRegion`. */
  readonly hopFrames: number;
  /** 0: mean of each hop; else the one-pole factor per frame. */
  readonly smoothing: number;
  readonly sos: Ptr;
  readonly filterState: Ptr;
  readonly envelopeState: Ptr;
  readonly scratch: Ptr;
}

export interface BandFilterOptions {
  /** Rows b0, b1, b2, a1, a2 as designButterworth gives them; may be empty. */
  sos: ArrayLike<number>;
  trackCount: number;
  hopFrames: number;
  /** One-pole factor in (0, 1]; default 0: mean of each hop. */
  smoothing?: number;
}

/** Takes memory for a filter and clears its state. Throws `internal` for wrong sizes. */
export function createBandFilter(k: Kernels, options: BandFilterOptions): BandFilter {
  const { sos, trackCount, hopFrames, smoothing = 0 } = options;
  const isFit = sos.length % 5 === 0 && Number.isInteger(trackCount) && trackCount >= 1 && Number.isInteger(hopFrames) && hopFrames >= 1;
  if (!isFit || !(smoothing >= 0 && smoothing <= 1)) {
    throw new VolaryError('internal', { what: 'wrong band filter', got: `${sos.length} coefficients, ${trackCount} tracks, hop ${hopFrames}, smoothing ${smoothing}` });
  }
  const sectionCount = sos.length / 5;
  const groupCount = Math.ceil(trackCount / 4);
  const sosPtr = k.allocF32(sos.length);
  k.f32(sosPtr, sos.length).set(sos);
  const filter: BandFilter = {
    trackCount, sectionCount, hopFrames, smoothing,
    sos: sosPtr,
    filterState: k.alloc(groupCount * 2 * sectionCount * 16),
    envelopeState: k.alloc(groupCount * (2 * sectionCount + 1) * 16),
    scratch: k.alloc(hopFrames * 16),
  };
  clearBandFilter(k, filter);
  return filter;
}

/** Forgets the past of the tracks. */
export function clearBandFilter(k: Kernels, f: BandFilter): void {
  const groupCount = Math.ceil(f.trackCount / 4);
  k.u8(f.filterState, groupCount * 2 * f.sectionCount * 16).fill(0);
  k.u8(f.envelopeState, groupCount * (2 * f.sectionCount + 1) * 16).fill(0);
}

/**
 * Energy per hop of the filtered tracks, [track] rows of `envStride` values at `env`; continues the stream of the last call, which must
 * have had whole hops. Returns the number of hops written.
 */
export function writeEnvelope(k: Kernels, f: BandFilter, region: SignalRegion, env: Ptr, envStride: number): number {
  k.fn.bandEnvelope(
    region.signal, region.trackStrideFrames, f.trackCount, region.frameCount, f.sos, f.sectionCount, f.envelopeState,
    f.hopFrames, f.smoothing, f.scratch, env, envStride,
  );
  return Math.ceil(region.frameCount / f.hopFrames);
}

/** Filtered tracks, planar at `out` (may be the region itself); continues the stream of the last call. */
export function filterRegion(k: Kernels, f: BandFilter, region: SignalRegion, out: Ptr, outStrideFrames: number): void {
  k.fn.filterTracks(
    region.signal, region.trackStrideFrames, f.trackCount, region.frameCount, f.sos, f.sectionCount, f.filterState,
    f.hopFrames, f.scratch, out, outStrideFrames,
  );
}

export interface NoiseFloorOptions {
  /** Hops per block: several times the longest bout of calls. */
  blockHops: number;
  /** Default 0.2. */
  quantile?: number;
  /** Blocks on each side of the running median; default 1. */
  radiusBlocks?: number;
}

/**
 * Noise floor per block of hop energies (any array of them): running median of a low quantile; 0 where nothing is known. A fresh array of
 * ceil(length / blockHops) values.
 */
export function estimateNoiseFloor(k: Kernels, energies: ArrayLike<number>, options: NoiseFloorOptions): Float32Array {
  const { blockHops, quantile = 0.2, radiusBlocks = 1 } = options;
  if (!(Number.isInteger(blockHops) && blockHops >= 1 && Number.isInteger(radiusBlocks) && radiusBlocks >= 0)) {
    throw new VolaryError('internal', { what: 'wrong noise floor', got: `${blockHops} hops, radius ${radiusBlocks}` });
  }
  const blocks = Math.ceil(energies.length / blockHops);
  const before = k.mark();
  try {
    const energy = k.allocF32(energies.length);
    k.f32(energy, energies.length).set(energies);
    const scratch = k.allocF32(Math.max(blockHops, 2 * radiusBlocks + 1) + blocks);
    const floor = k.allocF32(blocks);
    k.fn.noiseFloor(energy, energies.length, blockHops, quantile, radiusBlocks, scratch, floor);
    return k.f32(floor, blocks).slice();
  } finally {
    k.release(before);
  }
}
