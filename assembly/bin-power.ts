/**
 * Powers of planes, their means over neighbouring bins, and their sums. Rows hold one f32 per bin and are padded to `width`, a multiple of 4.
 *
 * planePower: power[i] = re[i]^2 + im[i]^2, i = 0 .. count-1.
 *   rePtr, imPtr read f32[count]; powerPtr written f32[count]; count is a multiple of 4
 * smoothBins: out[k][b] = (sum of power over frames k-1 .. k+1 and bins b-1 .. b+1) / 9; what lies beyond the edges counts as 0.
 *   powerPtr   read    f32 [frameCount][width], of which bins 0 .. bins-1 count
 *   keepPtr    read    u8[frameCount], or 0: frames where it is 0 become 0
 *   scratchPtr written f32[width + 8]
 *   outPtr     written f32 [frameCount][width], 0 behind the last bin
 * sumRows: out[b] = sum of power[k][b] over frames first .. end-1 where keepPtr is 0 or its byte is not.
 *   outPtr written f32[width]
 * sumFrames: out[k] = sum of power[k][b] over the width.
 *   outPtr written f32[frameCount]
 * Alignment 16 (keepPtr 1, out of sumFrames 4); written memory must not overlap the rest. A NaN reaches its neighbours (smoothBins) or its own
 * sum only. Source: definitions. Plain reference: test/reference/bin-rows.ts.
 */

export function planePower(rePtr: usize, imPtr: usize, count: i32, powerPtr: usize): void {
  const end = <usize>count << 2;
  for (let i: usize = 0; i < end; i += 16) {
    const re = v128.load(rePtr + i), im = v128.load(imPtr + i);
    v128.store(powerPtr + i, f32x4.add(f32x4.mul(re, re), f32x4.mul(im, im)));
  }
}

export function smoothBins(powerPtr: usize, frameCount: i32, bins: i32, width: i32, keepPtr: usize, scratchPtr: usize, outPtr: usize): void {
  const rowBytes = <usize>width << 2, last = rowBytes - 16, tail = maskTail(bins, width), ninth = f32x4.splat(1.0 / 9.0), zero = f32x4.splat(0);
  const sums = scratchPtr + 16;
  v128.store(scratchPtr, zero);
  v128.store(sums + rowBytes, zero);
  for (let k = 0; k < frameCount; k++) {
    const row = powerPtr + <usize>k * rowBytes, out = outPtr + <usize>k * rowBytes;
    if (keepPtr && !load<u8>(keepPtr + k)) {
      memory.fill(out, 0, rowBytes);
      continue;
    }
    const hasAbove = k > 0, hasBelow = k + 1 < frameCount;
    for (let i: usize = 0; i < rowBytes; i += 16) {
      let v = v128.load(row + i);
      if (hasAbove) v = f32x4.add(v, v128.load(row + i - rowBytes));
      if (hasBelow) v = f32x4.add(v, v128.load(row + i + rowBytes));
      v128.store(sums + i, f32x4.mul(v, ninth));
    }
    v128.store(sums + last, v128.and(v128.load(sums + last), tail));
    for (let i: usize = 0; i < rowBytes; i += 16) {
      v128.store(out + i, f32x4.add(f32x4.add(v128.load(sums + i), v128.load(sums + i - 4)), v128.load(sums + i + 4)));
    }
    v128.store(out + last, v128.and(v128.load(out + last), tail));
  }
}

/** Ones in the lanes of the last vector that hold bins. */
// @ts-ignore: decorator
@inline
function maskTail(bins: i32, width: i32): v128 {
  return i32x4.gt_s(i32x4.splat(bins - width + 4), i32x4(0, 1, 2, 3));
}

export function sumRows(powerPtr: usize, keepPtr: usize, first: i32, end: i32, width: i32, outPtr: usize): void {
  const rowBytes = <usize>width << 2;
  memory.fill(outPtr, 0, rowBytes);
  for (let k = first; k < end; k++) {
    if (keepPtr && !load<u8>(keepPtr + k)) continue;
    const row = powerPtr + <usize>k * rowBytes;
    for (let i: usize = 0; i < rowBytes; i += 16) v128.store(outPtr + i, f32x4.add(v128.load(outPtr + i), v128.load(row + i)));
  }
}

export function sumFrames(powerPtr: usize, frameCount: i32, width: i32, outPtr: usize): void {
  const rowBytes = <usize>width << 2;
  for (let k = 0; k < frameCount; k++) {
    const row = powerPtr + <usize>k * rowBytes;
    let sum = f32x4.splat(0);
    for (let i: usize = 0; i < rowBytes; i += 16) sum = f32x4.add(sum, v128.load(row + i));
    store<f32>(outPtr + (<usize>k << 2), (f32x4.extract_lane(sum, 0) + f32x4.extract_lane(sum, 1)) + (f32x4.extract_lane(sum, 2) + f32x4.extract_lane(sum, 3)));
  }
}
