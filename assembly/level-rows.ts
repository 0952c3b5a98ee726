/**
 * Powers from levels between tracks, and what levels are learned from. Rows hold one f32 per bin and are padded to `width`, a multiple of 4.
 *
 * addLevels: out[k][b] += share * ratio[b] * power[k][b].
 * weighBins: out[k][b] = share / (other[k][b] + floor[b] + error * power[k][b]); without otherPtr (0) other is 0.
 * addValues: out[i] += source[i], i = 0 .. count-1, a multiple of 4.
 *   powerPtr, otherPtr read f32 [frameCount][width]; ratioPtr, floorPtr read f32[width]; outPtr written (add: read and written) f32 [frameCount][width]
 * collectRatios: own / (ratio * other) of the bins in which ratio * other > 3 floor and other > 10 otherFloor, in order; gives their number.
 *   ownPtr, otherPtr read f32 [frameCount][width], of which bins 0 .. bins-1 count; floorPtr, otherFloorPtr read f32[width]
 *   outPtr written f32[frameCount * bins + 3]
 * selectRank: the value of rank `rank` (from 0) of count f32 >= 0, no NaN; they are reordered.
 * Alignment 16 (selectRank 4); written memory must not overlap the rest. A NaN spoils its own bin only, and is no ratio.
 * Source: definitions; selection: Hoare 1961, algorithm 65. Plain reference: test/reference/bin-rows.ts.
 */
import { selectValue } from './inline/select';

export function addLevels(powerPtr: usize, frameCount: i32, width: i32, ratioPtr: usize, share: f32, outPtr: usize): void {
  const rowBytes = <usize>width << 2, factor = f32x4.splat(share);
  for (let k = 0; k < frameCount; k++) {
    const row = <usize>k * rowBytes;
    for (let i: usize = row, r = ratioPtr; i < row + rowBytes; i += 16, r += 16) {
      v128.store(outPtr + i, f32x4.add(v128.load(outPtr + i), f32x4.mul(f32x4.mul(factor, v128.load(r)), v128.load(powerPtr + i))));
    }
  }
}

export function weighBins(powerPtr: usize, otherPtr: usize, frameCount: i32, width: i32, floorPtr: usize, error: f32, share: f32, outPtr: usize): void {
  const rowBytes = <usize>width << 2, part = f32x4.splat(error), whole = f32x4.splat(share);
  for (let k = 0; k < frameCount; k++) {
    const row = <usize>k * rowBytes;
    for (let i: usize = row, f = floorPtr; i < row + rowBytes; i += 16, f += 16) {
      let sum = v128.load(f);
      if (otherPtr) sum = f32x4.add(sum, v128.load(otherPtr + i));
      v128.store(outPtr + i, f32x4.div(whole, f32x4.add(sum, f32x4.mul(part, v128.load(powerPtr + i)))));
    }
  }
}

export function addValues(sourcePtr: usize, count: i32, outPtr: usize): void {
  const end = <usize>count << 2;
  for (let i: usize = 0; i < end; i += 16) v128.store(outPtr + i, f32x4.add(v128.load(outPtr + i), v128.load(sourcePtr + i)));
}

export function collectRatios(
  ownPtr: usize, otherPtr: usize, frameCount: i32, bins: i32, width: i32, ratioPtr: usize, floorPtr: usize, otherFloorPtr: usize, outPtr: usize,
): i32 {
  const rowBytes = <usize>width << 2, last = rowBytes - 16, inTail = (1 << (bins - width + 4)) - 1, three = f32x4.splat(3), ten = f32x4.splat(10);
  let out = outPtr;
  for (let k = 0; k < frameCount; k++) {
    const row = <usize>k * rowBytes;
    for (let i: usize = 0; i < rowBytes; i += 16) {
      const other = v128.load(otherPtr + row + i), expected = f32x4.mul(v128.load(ratioPtr + i), other);
      const isClear = v128.and(f32x4.gt(expected, f32x4.mul(three, v128.load(floorPtr + i))), f32x4.gt(other, f32x4.mul(ten, v128.load(otherFloorPtr + i))));
      const own = v128.load(ownPtr + row + i);
      let lanes = i32x4.bitmask(v128.and(isClear, f32x4.eq(own, own)));
      if (i == last) lanes &= inTail;
      if (!lanes) continue;
      const ratio = f32x4.div(own, expected);
      if (lanes & 1) { store<f32>(out, f32x4.extract_lane(ratio, 0)); out += 4; }
      if (lanes & 2) { store<f32>(out, f32x4.extract_lane(ratio, 1)); out += 4; }
      if (lanes & 4) { store<f32>(out, f32x4.extract_lane(ratio, 2)); out += 4; }
      if (lanes & 8) { store<f32>(out, f32x4.extract_lane(ratio, 3)); out += 4; }
    }
  }
  return <i32>((out - outPtr) >> 2);
}

export function selectRank(ptr: usize, count: i32, rank: i32): f32 {
  return selectValue(ptr, count, rank);
}
