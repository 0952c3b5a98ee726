/**
 * Energy of a band of all tracks, one value per hop.
 *
 * Formula: y = sections(x); smoothing 0: env[t][h] = mean of y^2 over hop h (boxcar of one hop; a last, shorter hop: over the frames
 * there are); smoothing a in (0, 1]: e += a (y^2 - e) per frame, env[t][h] = e at the end of hop h.
 *   signalPtr  read          planar f32 tracks (abi.ts), 4-aligned
 *   sosPtr     read          f32[sectionCount][5] b0 b1 b2 a1 a2; sectionCount 0 takes the signal itself
 *   statePtr   read, written [groupCount][2 * sectionCount + 1][x 4], 16-aligned; zeros at the start, then carried from call to call
 *   scratchPtr written       v128[hopFrames], 16-aligned
 *   envPtr     written       [trackCount] rows of ceil(frameCount / hopFrames) f32 at envStride values, 4-aligned
 * Nothing may overlap. After each hop, state below 1e-15 or not finite becomes 0: a NaN sample spoils its own track's value of its own
 * hop only. A stream in several calls gives the same values when every call but the last has whole hops.
 * Source: definition; filter as in biquad.ts. Plain reference: test/reference/biquad.ts.
 */
import { countGroups } from './abi';
import { cleanState, cleanVector, flushLanes, runSections } from './inline/biquad-sections';
import { loadLanes } from './inline/lanes';

export function bandEnvelope(
  signalPtr: usize, trackStrideFrames: i32, trackCount: i32, frameCount: i32, sosPtr: usize, sectionCount: i32, statePtr: usize,
  hopFrames: i32, smoothing: f32, scratchPtr: usize, envPtr: usize, envStride: i32,
): void {
  const groups = countGroups(trackCount);
  let hop = 0;
  for (let start = 0; start < frameCount; start += hopFrames, hop++) {
    const count = min(hopFrames, frameCount - start);
    for (let g = 0; g < groups; g++) {
      const state = statePtr + ((<usize>g * <usize>(2 * sectionCount + 1)) << 4);
      const tail = state + (<usize>sectionCount << 5);
      loadLanes(signalPtr, trackStrideFrames, 4 * g, trackCount, start, frameCount, 0, count, count, scratchPtr);
      flushLanes(scratchPtr, count);
      runSections(scratchPtr, count, sosPtr, sectionCount, state);
      cleanState(state, 2 * sectionCount);
      const energy = smoothing > 0 ? smoothSquares(scratchPtr, count, smoothing, tail) : meanSquares(scratchPtr, count);
      storeEnergies(energy, min(4, trackCount - 4 * g), envPtr + ((<usize>(4 * g) * <usize>envStride + <usize>hop) << 2), envStride);
    }
  }
}

/** Four partial sums keep rounding and latency low. */
function meanSquares(lanesPtr: usize, count: i32): v128 {
  let a = f32x4.splat(0), b = a, c = a, d = a;
  const end = lanesPtr + (<usize>count << 4);
  const whole = lanesPtr + (<usize>(count & ~3) << 4);
  let p = lanesPtr;
  for (; p < whole; p += 64) {
    const w = v128.load(p), x = v128.load(p, 16), y = v128.load(p, 32), z = v128.load(p, 48);
    a = f32x4.add(a, f32x4.mul(w, w));
    b = f32x4.add(b, f32x4.mul(x, x));
    c = f32x4.add(c, f32x4.mul(y, y));
    d = f32x4.add(d, f32x4.mul(z, z));
  }
  for (; p < end; p += 16) {
    const w = v128.load(p);
    a = f32x4.add(a, f32x4.mul(w, w));
  }
  return f32x4.div(f32x4.add(f32x4.add(a, b), f32x4.add(c, d)), f32x4.splat(<f32>count));
}

function smoothSquares(lanesPtr: usize, count: i32, smoothing: f32, statePtr: usize): v128 {
  const alpha = f32x4.splat(smoothing);
  let e = v128.load(statePtr);
  const end = lanesPtr + (<usize>count << 4);
  for (let p = lanesPtr; p < end; p += 16) {
    const y = v128.load(p);
    e = f32x4.add(e, f32x4.mul(alpha, f32x4.sub(f32x4.mul(y, y), e)));
  }
  v128.store(statePtr, cleanVector(e));
  return e;
}

function storeEnergies(energy: v128, tracks: i32, envPtr: usize, envStride: i32): void {
  const stride = <usize>envStride << 2;
  v128.store_lane<f32>(envPtr, energy, 0);
  if (tracks > 1) v128.store_lane<f32>(envPtr + stride, energy, 1);
  if (tracks > 2) v128.store_lane<f32>(envPtr + 2 * stride, energy, 2);
  if (tracks > 3) v128.store_lane<f32>(envPtr + 3 * stride, energy, 3);
}
