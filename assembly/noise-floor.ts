/**
 * Noise floor: a running low quantile of hop energies.
 *
 * Formula: q[b] = the quantile (linear between order statistics, at quantile * (count - 1)) of the energies of block b, blockHops hops;
 * floor[b] = the median of q[b - radius .. b + radius] (shorter at the ends; the mean of the two middle ones for even counts). Energies
 * that are not positive and finite (lost stretches, NaN) are passed over; where nothing is left the floor is 0.
 * A call fills a small share of a block, so a low quantile does not see it; the quantile lies below the mean of the noise by a factor
 * that depends on band and hop (the caller's matter).
 *   energyPtr  read    f32[hopCount]
 *   scratchPtr written f32[max(blockHops, 2 * radius + 1) + ceil(hopCount / blockHops)]
 *   floorPtr   written f32[ceil(hopCount / blockHops)]; must not overlap the others
 * Alignment 4. Source: quantile: Hyndman & Fan 1996, type 7; selection: Hoare 1961. Plain reference: test/reference/noise-floor.ts.
 */
import { selectValue } from './inline/select';

export function noiseFloor(
  energyPtr: usize, hopCount: i32, blockHops: i32, quantile: f64, radius: i32, scratchPtr: usize, floorPtr: usize,
): void {
  const blocks = (hopCount + blockHops - 1) / blockHops;
  const rowPtr = scratchPtr + (<usize>max(blockHops, 2 * radius + 1) << 2);
  for (let b = 0; b < blocks; b++) {
    const count = copyUsable(energyPtr, b * blockHops, min(hopCount, (b + 1) * blockHops), scratchPtr);
    store<f32>(rowPtr + (<usize>b << 2), findQuantile(scratchPtr, count, quantile));
  }
  for (let b = 0; b < blocks; b++) {
    const count = copyUsable(rowPtr, max(0, b - radius), min(blocks, b + radius + 1), scratchPtr);
    store<f32>(floorPtr + (<usize>b << 2), findQuantile(scratchPtr, count, 0.5));
  }
}

/** Copies positive finite values of from .. to-1; returns how many. */
function copyUsable(sourcePtr: usize, from: i32, to: i32, targetPtr: usize): i32 {
  let count = 0;
  for (let i = from; i < to; i++) {
    const v = load<f32>(sourcePtr + (<usize>i << 2));
    if (!(v > 0 && v <= f32.MAX_VALUE)) continue;
    store<f32>(targetPtr + (<usize>count << 2), v);
    count++;
  }
  return count;
}

/** Quantile of count values, which are reordered; 0 for none. */
function findQuantile(ptr: usize, count: i32, quantile: f64): f32 {
  if (count == 0) return 0;
  const place = min(max(quantile, 0), 1) * <f64>(count - 1);
  const k = <i32>Math.floor(place);
  const low = selectValue(ptr, count, k);
  if (place == <f64>k) return low;
  // After the selection all values behind k are at least the k-th.
  let next = f32.MAX_VALUE;
  for (let i = k + 1; i < count; i++) next = min(next, load<f32>(ptr + (<usize>i << 2)));
  return <f32>(<f64>low + (place - <f64>k) * (<f64>next - <f64>low));
}
