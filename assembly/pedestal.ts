/**
 * Broadband pedestal of a track, and what it owns above it.
 *
 * findPedestal: pedestal[t] = max(1, factor * q), q = the order statistic rank (from 0) of P[t][k] / floor[k] over the band, NaN last;
 *   1 in frames whose level is below leastDb (or NaN).
 * sumOwnedOver: over[t] = sum over bins of the band owned by the track of max(0, P - pedestal[t] floor); frames with pedestal 1 take
 *   over[t] = owned[t].
 *   powerPtr    read    f32[frameCount][binCount] of the track
 *   floorPtr    read    f32[binCount], > 0
 *   levelPtr    read    f32[frameCount]
 *   scratchPtr  written f32[endBin - firstBin + 3], 16-aligned
 *   pedestalPtr written by findPedestal, read by sumOwnedOver, f32[frameCount]
 *   ownerPtr    read    u8[frameCount][binCount]
 *   ownedPtr    read    f32[frameCount]
 *   overPtr     written f32[frameCount]
 * firstBin + 4 <= endBin <= binCount; alignment 4 (scratch 16); nothing may overlap.
 * Source: order statistics of exponential noise. Plain reference: test/reference/ownership.ts.
 */
import { findRank } from './inline/rank';

export function findPedestal(
  powerPtr: usize, frameCount: i32, binCount: i32, floorPtr: usize, levelPtr: usize, leastDb: f32, firstBin: i32, endBin: i32,
  rank: i32, factor: f32, scratchPtr: usize, pedestalPtr: usize,
): void {
  const count = endBin - firstBin;
  const infinite = f32x4.splat(Infinity);
  for (let t = 0; t < frameCount; t++) {
    let value: f32 = 1;
    if (load<f32>(levelPtr + (<usize>t << 2)) >= leastDb) {
      const row = powerPtr + ((<usize>t * <usize>binCount) << 2);
      for (let i = 0; i < count; i += 4) {
        const k = min(i, count - 4);
        const at = <usize>(firstBin + k) << 2;
        const ratio = f32x4.div(v128.load(row + at), v128.load(floorPtr + at));
        v128.store(scratchPtr + (<usize>k << 2), v128.bitselect(ratio, infinite, f32x4.eq(ratio, ratio)));
      }
      value = max(<f32>1, factor * findRank(scratchPtr, count, rank));
    }
    store<f32>(pedestalPtr + (<usize>t << 2), value);
  }
}

export function sumOwnedOver(
  powerPtr: usize, frameCount: i32, binCount: i32, floorPtr: usize, ownerPtr: usize, track: i32, firstBin: i32, endBin: i32,
  pedestalPtr: usize, ownedPtr: usize, overPtr: usize,
): void {
  for (let t = 0; t < frameCount; t++) {
    const lift = load<f32>(pedestalPtr + (<usize>t << 2));
    let value = load<f32>(ownedPtr + (<usize>t << 2));
    if (lift != 1) {
      const row = <usize>t * <usize>binCount;
      let sum: f64 = 0;
      const owner = i8x16.splat(<i8>track);
      for (let b = firstBin; b < endBin; ) {
        // The track's bins among the next sixteen, as bits: most are nobody's or another's.
        const isWhole = b + 16 <= endBin;
        let own = isWhole ? i8x16.bitmask(i8x16.eq(v128.load(ownerPtr + row + <usize>b), owner)) : i32(<i32>load<u8>(ownerPtr + row + <usize>b) == track);
        for (; own; own &= own - 1) {
          const bin = <usize>(b + ctz(own));
          const excess = <f64>load<f32>(powerPtr + ((row + bin) << 2)) - <f64>lift * <f64>load<f32>(floorPtr + (bin << 2));
          sum += excess > 0 ? excess : 0;
        }
        b += isWhole ? 16 : 1;
      }
      value = <f32>sum;
    }
    store<f32>(overPtr + (<usize>t << 2), value);
  }
}
