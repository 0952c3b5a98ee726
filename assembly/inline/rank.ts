/**
 * Order statistic: the value of rank `rank` (from 0) of count f32 >= 0 or +infinity, exactly. No NaN, no -0.
 *   ptr read f32[count], written f32[count .. count rounded up to 4], 16-aligned; 0 <= rank < count
 * Floats that are not negative order like their bits, and these are bisected. Source: common practice. Plain reference: a sort.
 */

const ABOVE_ALL: i32 = 0x7fffffff;

export function findRank(ptr: usize, count: i32, rank: i32): f32 {
  const end = ptr + (<usize>((count + 3) & ~3) << 2);
  for (let p = ptr + (<usize>count << 2); p < end; p += 4) store<i32>(p, ABOVE_ALL);
  let smallest = v128.load(ptr), largest = i32x4.splat(0);
  for (let p = ptr; p < end; p += 16) {
    smallest = i32x4.min_s(smallest, v128.load(p));
    largest = i32x4.max_s(largest, v128.load(p));
  }
  let low = min(min(i32x4.extract_lane(smallest, 0), i32x4.extract_lane(smallest, 1)), min(i32x4.extract_lane(smallest, 2), i32x4.extract_lane(smallest, 3)));
  let high = largestLane(largest);
  while (low < high) {
    const middle = low + ((high - low) >> 1);
    const limit = i32x4.splat(middle);
    let sum = i32x4.splat(0);
    for (let p = ptr; p < end; p += 16) sum = i32x4.sub(sum, i32x4.le_s(v128.load(p), limit));
    const count = (i32x4.extract_lane(sum, 0) + i32x4.extract_lane(sum, 1)) + (i32x4.extract_lane(sum, 2) + i32x4.extract_lane(sum, 3));
    // Usually after a few steps: the value is the largest of those up to the middle.
    if (count == rank + 1) return reinterpret<f32>(largestUpTo(ptr, end, limit));
    if (count > rank) high = middle;
    else low = middle + 1;
  }
  return reinterpret<f32>(low);
}

function largestUpTo(ptr: usize, end: usize, limit: v128): i32 {
  let largest = i32x4.splat(0);
  for (let p = ptr; p < end; p += 16) {
    const v = v128.load(p);
    largest = i32x4.max_s(largest, v128.and(v, i32x4.le_s(v, limit)));
  }
  return largestLane(largest);
}

// @ts-ignore: decorator
@inline
function largestLane(v: v128): i32 {
  return max(max(i32x4.extract_lane(v, 0), i32x4.extract_lane(v, 1)), max(i32x4.extract_lane(v, 2), i32x4.extract_lane(v, 3)));
}
