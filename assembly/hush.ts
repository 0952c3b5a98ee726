/**
 * What takes expected crosstalk off a track, bin by bin. Rows hold one f32 per bin and are padded to `width`, a multiple of 4.
 *
 * addExpected: loud(k) = max(decay * ringing(k-1), active(k) * excess * ratio * power(k)); where loud > share * floor it is added to `expected` and rings on, elsewhere
 * nothing is added and it rings no more. Gives 1 where anything was added, else 0.
 *   powerPtr    read    f32 [frameCount][width], the caller's power on its own track
 *   activePtr   read    u8[frameCount]
 *   ratioPtr    read    f32[width], floorPtr read f32[width]
 *   ringingPtr  written f32[width], scratch
 *   expectedPtr read and written f32 [frameCount][width]
 * hushBins: target = max(floor, power - expected); where power > target, change = (sqrt(target / power) - 1) x, elsewhere and in frames that are kept 0.
 *   planesPtr   read    re [frameCount][width] then im; powerPtr, expectedPtr read f32 [frameCount][width]; keptPtr read u8[frameCount]; floorPtr read f32[width]
 *   changePtr   written as planesPtr
 * Alignment 16 (bytes 1); written memory must not overlap the rest. A NaN of the caller counts as nothing; one of
 * the track spoils its own bin only.
 * Source: definitions. Plain reference: test/reference/bin-rows.ts.
 */

export function addExpected(
  powerPtr: usize, activePtr: usize, frameCount: i32, width: i32, ratioPtr: usize, excess: f32, floorPtr: usize, share: f32, decay: f32, ringingPtr: usize, expectedPtr: usize,
): i32 {
  const rowBytes = <usize>width << 2, fall = f32x4.splat(decay), factor = f32x4.splat(excess), part = f32x4.splat(share), zero = f32x4.splat(0);
  memory.fill(ringingPtr, 0, rowBytes);
  let isAny = 0, rings = 0;
  for (let k = 0; k < frameCount; k++) {
    const isActive = load<u8>(activePtr + k) != 0;
    if (!isActive && !rings) continue;
    const row = <usize>k * rowBytes;
    let some = zero;
    for (let i: usize = 0; i < rowBytes; i += 16) {
      let loud = f32x4.mul(fall, v128.load(ringingPtr + i));
      if (isActive) loud = f32x4.pmax(loud, f32x4.mul(f32x4.mul(factor, v128.load(ratioPtr + i)), v128.load(powerPtr + row + i)));
      const isLoud = f32x4.gt(loud, f32x4.mul(part, v128.load(floorPtr + i)));
      loud = v128.and(loud, isLoud);
      some = v128.or(some, isLoud);
      v128.store(ringingPtr + i, loud);
      v128.store(expectedPtr + row + i, f32x4.add(v128.load(expectedPtr + row + i), loud));
    }
    rings = i32(v128.any_true(some));
    isAny |= rings;
  }
  return isAny;
}

export function hushBins(
  planesPtr: usize, powerPtr: usize, expectedPtr: usize, keptPtr: usize, frameCount: i32, width: i32, floorPtr: usize, changePtr: usize,
): void {
  const rowBytes = <usize>width << 2, imOffset = <usize>frameCount * rowBytes, one = f32x4.splat(1);
  for (let k = 0; k < frameCount; k++) {
    const row = <usize>k * rowBytes;
    if (load<u8>(keptPtr + k)) {
      memory.fill(changePtr + row, 0, rowBytes);
      memory.fill(changePtr + imOffset + row, 0, rowBytes);
      continue;
    }
    for (let i: usize = row, f = floorPtr; i < row + rowBytes; i += 16, f += 16) {
      const power = v128.load(powerPtr + i), target = f32x4.max(v128.load(f), f32x4.sub(power, v128.load(expectedPtr + i)));
      const isOver = f32x4.gt(power, target);
      const loss = v128.and(f32x4.sub(f32x4.sqrt(f32x4.div(target, power)), one), isOver);
      v128.store(changePtr + i, f32x4.mul(loss, v128.load(planesPtr + i)));
      v128.store(changePtr + imOffset + i, f32x4.mul(loss, v128.load(planesPtr + imOffset + i)));
    }
  }
}
