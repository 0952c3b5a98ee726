/**
 * Frames whose whole spectrum rises evenly over the floor.
 *
 * bandRise: rise[t][m] = mean of P[t][k] / floor[k] over bins edge[m] .. edge[m+1]-1, eight bands.
 * flagEvenFrames: with r[m] = 1e-9 + mean of rise over frames t-radius .. t+radius (those there are), flag[t] = 1 if
 *   min r > leastRatio and (second largest r) < spreadRatio * min r, else 0.
 *   powerPtr  read    f32[frameCount][binCount] of one track
 *   floorPtr  read    f32[binCount], > 0
 *   edgePtr   read    i32[9], ascending, within 0 .. binCount; every band holds a bin
 *   risePtr   written by bandRise, read by flagEvenFrames, f32[frameCount][8]
 *   flagPtr   written u8[frameCount]
 * Alignment 4; nothing may overlap. A NaN power flags none of the frames around it.
 * Source: definition. Plain reference: test/reference/band-rise.ts.
 */
import { sumRatios } from './inline/sum-ratios';

const BANDS: i32 = 8;

export function bandRise(powerPtr: usize, frameCount: i32, binCount: i32, floorPtr: usize, edgePtr: usize, risePtr: usize): void {
  let row = powerPtr;
  let out = risePtr;
  for (let t = 0; t < frameCount; t++) {
    for (let m = 0; m < BANDS; m++) {
      const from = load<i32>(edgePtr + (<usize>m << 2)), to = load<i32>(edgePtr + (<usize>m << 2), 4);
      store<f32>(out + (<usize>m << 2), sumRatios(row + (<usize>from << 2), floorPtr + (<usize>from << 2), to - from) / <f32>(to - from));
    }
    row += <usize>binCount << 2;
    out += <usize>BANDS << 2;
  }
}

export function flagEvenFrames(risePtr: usize, frameCount: i32, radius: i32, leastRatio: f32, spreadRatio: f32, flagPtr: usize): void {
  for (let t = 0; t < frameCount; t++) {
    const from = max(0, t - radius), to = min(frameCount, t + radius + 1);
    let low = f32x4.splat(0), high = low;
    for (let u = from; u < to; u++) {
      const p = risePtr + (<usize>u << 5);
      low = f32x4.add(low, v128.load(p));
      high = f32x4.add(high, v128.load(p, 16));
    }
    const scale = f32x4.splat(1 / <f32>(to - from)), least = f32x4.splat(1e-9);
    low = f32x4.add(least, f32x4.mul(scale, low));
    high = f32x4.add(least, f32x4.mul(scale, high));
    store<u8>(flagPtr + <usize>t, isEven(low, high, leastRatio, spreadRatio) ? 1 : 0);
  }
}

// @ts-ignore: decorator
@inline
function isEven(low: v128, high: v128, leastRatio: f32, spreadRatio: f32): bool {
  const least = f32x4.splat(leastRatio);
  if (!i32x4.all_true(v128.and(f32x4.gt(low, least), f32x4.gt(high, least)))) return false;
  let m = f32x4.min(low, high);
  m = f32x4.min(m, v128.shuffle<f32>(m, m, 2, 3, 0, 1));
  m = f32x4.min(m, v128.shuffle<f32>(m, m, 1, 0, 3, 2));
  // The second largest is below the limit if at most one value is not.
  const limit = f32x4.mul(f32x4.splat(spreadRatio), m);
  return popcnt(i32x4.bitmask(f32x4.lt(low, limit))) + popcnt(i32x4.bitmask(f32x4.lt(high, limit))) >= BANDS - 1;
}
