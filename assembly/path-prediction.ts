/**
 * What linear paths predict per bin, and how surely; four bins and four frames at a time.
 *
 * Formula: crosstalk(k) = sum over a of H_a Z_a(k); variance(k) = sum over a of |sum over b <= a of F(a, b) conj(Z_b(k))|^2, F the inverse of
 * the lower Cholesky factor of the paths' precision. Taps as in path-products.ts.
 *   refsPtr      read    refCount planes as in path-products.ts, zero rows behind for frameCount rounded up to 4
 *   meanPtr      read    size rows of re [bins] then im [bins], f32
 *   factorPtr    read    rows a (a + 1) / 2 + b of the same form
 *   crosstalkPtr written re [frames][bins] then im [frames][bins], f32, frames = frameCount rounded up to 4
 *   variancePtr  written f32 [frames][bins]
 * bins is a multiple of 4; alignment 16; written memory must not overlap the rest. A NaN spoils its own bin only.
 * Source: posterior of the linear Gaussian model. Plain reference: test/reference/path-system.ts.
 */

export function pathPrediction(
  refsPtr: usize, refCount: i32, planeRows: i32, tapCount: i32, frameCount: i32, bins: i32,
  meanPtr: usize, factorPtr: usize, crosstalkPtr: usize, variancePtr: usize,
): void {
  const rowBytes = <usize>bins << 2;
  const imOffset = <usize>planeRows * rowBytes;
  const size = refCount * tapCount;
  const frames = (frameCount + 3) & ~3;
  const crosstalkIm = <usize>frames * rowBytes;
  for (let at: usize = 0; at < rowBytes; at += 16) {
    for (let k = 0; k < frames; k += 4) {
      const row = <usize>k * rowBytes + at;
      let v0 = f32x4.splat(0), v1 = v0, v2 = v0, v3 = v0;
      let factor = factorPtr + at;
      for (let a = 0; a < size; a++) {
        let r0 = f32x4.splat(0), r1 = r0, r2 = r0, r3 = r0, i0 = r0, i1 = r0, i2 = r0, i3 = r0;
        let z = refsPtr + <usize>(tapCount - 1) * rowBytes + row;
        let tap = 0;
        for (let b = 0; b <= a; b++) {
          const fr = v128.load(factor), fi = v128.load(factor + rowBytes);
          factor += 2 * rowBytes;
          let p = z;
          let zr = v128.load(p), zi = v128.load(p + imOffset);
          r0 = f32x4.add(r0, f32x4.add(f32x4.mul(fr, zr), f32x4.mul(fi, zi)));
          i0 = f32x4.add(i0, f32x4.sub(f32x4.mul(fi, zr), f32x4.mul(fr, zi)));
          p += rowBytes; zr = v128.load(p); zi = v128.load(p + imOffset);
          r1 = f32x4.add(r1, f32x4.add(f32x4.mul(fr, zr), f32x4.mul(fi, zi)));
          i1 = f32x4.add(i1, f32x4.sub(f32x4.mul(fi, zr), f32x4.mul(fr, zi)));
          p += rowBytes; zr = v128.load(p); zi = v128.load(p + imOffset);
          r2 = f32x4.add(r2, f32x4.add(f32x4.mul(fr, zr), f32x4.mul(fi, zi)));
          i2 = f32x4.add(i2, f32x4.sub(f32x4.mul(fi, zr), f32x4.mul(fr, zi)));
          p += rowBytes; zr = v128.load(p); zi = v128.load(p + imOffset);
          r3 = f32x4.add(r3, f32x4.add(f32x4.mul(fr, zr), f32x4.mul(fi, zi)));
          i3 = f32x4.add(i3, f32x4.sub(f32x4.mul(fi, zr), f32x4.mul(fr, zi)));
          z -= rowBytes;
          if (++tap == tapCount) { tap = 0; z += 2 * imOffset + <usize>tapCount * rowBytes; }
        }
        v0 = f32x4.add(v0, f32x4.add(f32x4.mul(r0, r0), f32x4.mul(i0, i0)));
        v1 = f32x4.add(v1, f32x4.add(f32x4.mul(r1, r1), f32x4.mul(i1, i1)));
        v2 = f32x4.add(v2, f32x4.add(f32x4.mul(r2, r2), f32x4.mul(i2, i2)));
        v3 = f32x4.add(v3, f32x4.add(f32x4.mul(r3, r3), f32x4.mul(i3, i3)));
      }
      v128.store(variancePtr + row, v0);
      v128.store(variancePtr + row + rowBytes, v1);
      v128.store(variancePtr + row + 2 * rowBytes, v2);
      v128.store(variancePtr + row + 3 * rowBytes, v3);
      for (let n: usize = 0; n < 4; n++) predictOne(refsPtr, size, tapCount, imOffset, rowBytes, meanPtr + at, row + n * rowBytes, crosstalkPtr, crosstalkIm);
    }
  }
}

function predictOne(
  refsPtr: usize, size: i32, tapCount: i32, imOffset: usize, rowBytes: usize, mean: usize, row: usize, crosstalkPtr: usize, crosstalkIm: usize,
): void {
  let re = f32x4.splat(0), im = re;
  let z = refsPtr + <usize>(tapCount - 1) * rowBytes + row;
  let tap = 0;
  for (let a = 0; a < size; a++) {
    const hr = v128.load(mean), hi = v128.load(mean + rowBytes), zr = v128.load(z), zi = v128.load(z + imOffset);
    re = f32x4.add(re, f32x4.sub(f32x4.mul(hr, zr), f32x4.mul(hi, zi)));
    im = f32x4.add(im, f32x4.add(f32x4.mul(hr, zi), f32x4.mul(hi, zr)));
    mean += 2 * rowBytes;
    z -= rowBytes;
    if (++tap == tapCount) { tap = 0; z += 2 * imOffset + <usize>tapCount * rowBytes; }
  }
  v128.store(crosstalkPtr + row, re);
  v128.store(crosstalkPtr + row + crosstalkIm, im);
}
