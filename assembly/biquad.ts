/**
 * Cascade of second-order sections over all tracks: band-passed signals.
 *
 * Formula: see inline/biquad-sections.ts, in f32; no scaling.
 *   signalPtr  read          planar f32 tracks (abi.ts), 4-aligned
 *   sosPtr     read          f32[sectionCount][5] b0 b1 b2 a1 a2, 4-aligned
 *   statePtr   read, written [groupCount][sectionCount][s1 x 4][s2 x 4], 16-aligned; zeros at the start, then carried from call to call
 *   scratchPtr written       v128[blockFrames], 16-aligned
 *   outPtr     written       planar f32, rows at outStrideFrames; may be signalPtr with the same stride
 * Works in blocks of blockFrames; after each, state below 1e-15 or not finite becomes 0: a NaN sample spoils its own track up to the end
 * of its block. Input below 1e-30 counts as 0. Poles nearer to the unit circle than about 1e-3 lose precision in f32.
 * Source: Oppenheim & Schafer 6.4; checked against scipy.signal.sosfilt. Plain reference: test/reference/biquad.ts.
 */
import { countGroups } from './abi';
import { cleanState, flushLanes, runSections } from './inline/biquad-sections';
import { loadLanes } from './inline/lanes';

export function filterTracks(
  signalPtr: usize, trackStrideFrames: i32, trackCount: i32, frameCount: i32, sosPtr: usize, sectionCount: i32, statePtr: usize,
  blockFrames: i32, scratchPtr: usize, outPtr: usize, outStrideFrames: i32,
): void {
  const groups = countGroups(trackCount);
  for (let start = 0; start < frameCount; start += blockFrames) {
    const count = min(blockFrames, frameCount - start);
    for (let g = 0; g < groups; g++) {
      const state = statePtr + ((<usize>g * <usize>sectionCount) << 5);
      loadLanes(signalPtr, trackStrideFrames, 4 * g, trackCount, start, frameCount, 0, count, count, scratchPtr);
      flushLanes(scratchPtr, count);
      runSections(scratchPtr, count, sosPtr, sectionCount, state);
      cleanState(state, 2 * sectionCount);
      storeTracks(scratchPtr, count, min(4, trackCount - 4 * g), outPtr + ((<usize>(4 * g) * <usize>outStrideFrames + <usize>start) << 2), outStrideFrames);
    }
  }
}

function storeTracks(lanesPtr: usize, count: i32, tracks: i32, outPtr: usize, outStrideFrames: i32): void {
  const stride = <usize>outStrideFrames << 2;
  for (let i = 0; i < count; i++) {
    const v = v128.load(lanesPtr + (<usize>i << 4));
    const o = outPtr + (<usize>i << 2);
    v128.store_lane<f32>(o, v, 0);
    if (tracks > 1) v128.store_lane<f32>(o + stride, v, 1);
    if (tracks > 2) v128.store_lane<f32>(o + 2 * stride, v, 2);
    if (tracks > 3) v128.store_lane<f32>(o + 3 * stride, v, 3);
  }
}
