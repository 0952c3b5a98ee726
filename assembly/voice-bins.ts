/**
 * Estimates of a voice bin by bin: gains of Wiener's form. Rows hold one f32 per bin and are padded to `width`, a multiple of 4; planes are re
 * [frameCount][width] then im of the same form.
 *
 * beginVoice: noise = expected + floor, power = max(own - noise, 1e-14) where active, else 0, gain = power / (power + noise);
 *   mean = gain x, variance = gain noise.
 * lookAtVoice: noise = variance + floor, power = max(smooth - leftover - floor, 0.003 smooth) where active, else 0, gain as above;
 *   out = gain^2 raw + gain noise.
 * settleVoice: noise = leftover + floor, gain = power / (power + noise); mean = gain x, variance = gain noise.
 * removeTrusted: residual = x - trust crosstalk, raw = |residual|^2.
 * maskVoice: wanted = power + with, gain = max(least, wanted / (wanted + leftover + without + 1e-30)); change = gain residual - x.
 *   x, crosstalk, residual, mean, change planes; own, expected, raw, smooth, variance, leftover, power f32 [frameCount][width];
 *   floor, trust, with, without f32[width] (floors above 0); active u8[frameCount]
 * Names in front of `->` are read, behind it written. Alignment 16 (bytes 1); written memory must not overlap what is read.
 * A NaN spoils its own bin only. Source: posterior mean of a Gaussian in Gaussian noise (Wiener). Plain reference: test/reference/bin-rows.ts.
 */

/** x, own, expected, floor, active -> mean, variance. */
export function beginVoice(x: usize, own: usize, expected: usize, floor: usize, active: usize, frameCount: i32, width: i32, mean: usize, variance: usize): void {
  const rowBytes = <usize>width << 2, imOffset = <usize>frameCount * rowBytes, least = f32x4.splat(1e-14), zero = f32x4.splat(0);
  for (let k = 0; k < frameCount; k++) {
    const row = <usize>k * rowBytes, isActive = load<u8>(active + k) != 0;
    for (let i: usize = row, f = floor; i < row + rowBytes; i += 16, f += 16) {
      const noise = f32x4.add(v128.load(expected + i), v128.load(f));
      const power = isActive ? f32x4.max(f32x4.sub(v128.load(own + i), noise), least) : zero;
      storeVoice(x, i, imOffset, f32x4.div(power, f32x4.add(power, noise)), noise, mean, variance);
    }
  }
}

/** raw, smooth, variance, leftover, floor, active -> out. */
export function lookAtVoice(raw: usize, smooth: usize, variance: usize, leftover: usize, floor: usize, active: usize, frameCount: i32, width: i32, out: usize): void {
  const rowBytes = <usize>width << 2, share = f32x4.splat(0.003), zero = f32x4.splat(0);
  for (let k = 0; k < frameCount; k++) {
    const row = <usize>k * rowBytes, isActive = load<u8>(active + k) != 0;
    for (let i: usize = row, f = floor; i < row + rowBytes; i += 16, f += 16) {
      const bed = v128.load(f), level = v128.load(smooth + i), noise = f32x4.add(v128.load(variance + i), bed);
      const power = isActive ? f32x4.max(f32x4.sub(f32x4.sub(level, v128.load(leftover + i)), bed), f32x4.mul(share, level)) : zero;
      const gain = f32x4.div(power, f32x4.add(power, noise));
      v128.store(out + i, f32x4.mul(gain, f32x4.add(f32x4.mul(gain, v128.load(raw + i)), noise)));
    }
  }
}

/** x, leftover, power, floor -> mean, variance. */
export function settleVoice(x: usize, leftover: usize, power: usize, floor: usize, frameCount: i32, width: i32, mean: usize, variance: usize): void {
  const rowBytes = <usize>width << 2, imOffset = <usize>frameCount * rowBytes;
  for (let k = 0; k < frameCount; k++) {
    const row = <usize>k * rowBytes;
    for (let i: usize = row, f = floor; i < row + rowBytes; i += 16, f += 16) {
      const level = v128.load(power + i), noise = f32x4.add(v128.load(leftover + i), v128.load(f));
      storeVoice(x, i, imOffset, f32x4.div(level, f32x4.add(level, noise)), noise, mean, variance);
    }
  }
}

// @ts-ignore: decorator
@inline
function storeVoice(x: usize, i: usize, imOffset: usize, gain: v128, noise: v128, mean: usize, variance: usize): void {
  v128.store(mean + i, f32x4.mul(gain, v128.load(x + i)));
  v128.store(mean + imOffset + i, f32x4.mul(gain, v128.load(x + imOffset + i)));
  v128.store(variance + i, f32x4.mul(gain, noise));
}

/** x, crosstalk, trust -> residual, raw. */
export function removeTrusted(x: usize, crosstalk: usize, trust: usize, frameCount: i32, width: i32, residual: usize, raw: usize): void {
  const rowBytes = <usize>width << 2, imOffset = <usize>frameCount * rowBytes;
  for (let k = 0; k < frameCount; k++) {
    const row = <usize>k * rowBytes;
    for (let i: usize = row, t = trust; i < row + rowBytes; i += 16, t += 16) {
      const share = v128.load(t), re = f32x4.sub(v128.load(x + i), f32x4.mul(share, v128.load(crosstalk + i)));
      const im = f32x4.sub(v128.load(x + imOffset + i), f32x4.mul(share, v128.load(crosstalk + imOffset + i)));
      v128.store(residual + i, re);
      v128.store(residual + imOffset + i, im);
      v128.store(raw + i, f32x4.add(f32x4.mul(re, re), f32x4.mul(im, im)));
    }
  }
}

/** x, residual, power, leftover, with, without -> change. */
export function maskVoice(x: usize, residual: usize, power: usize, leftover: usize, withPtr: usize, withoutPtr: usize, least: f32, frameCount: i32, width: i32, change: usize): void {
  const rowBytes = <usize>width << 2, imOffset = <usize>frameCount * rowBytes, lowest = f32x4.splat(least), tiny = f32x4.splat(1e-30);
  for (let k = 0; k < frameCount; k++) {
    const row = <usize>k * rowBytes;
    for (let i: usize = row, n: usize = 0; n < rowBytes; i += 16, n += 16) {
      const wanted = f32x4.add(v128.load(power + i), v128.load(withPtr + n));
      const all = f32x4.add(f32x4.add(f32x4.add(wanted, v128.load(leftover + i)), v128.load(withoutPtr + n)), tiny);
      const gain = f32x4.max(lowest, f32x4.div(wanted, all));
      v128.store(change + i, f32x4.sub(f32x4.mul(gain, v128.load(residual + i)), v128.load(x + i)));
      v128.store(change + imOffset + i, f32x4.sub(f32x4.mul(gain, v128.load(residual + imOffset + i)), v128.load(x + imOffset + i)));
    }
  }
}
