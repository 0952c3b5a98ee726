/**
 * Normal equations of linear paths per bin, four bins at a time.
 *
 * Formula: product(a, b) = sum over k of w(k) conj(Z_a(k)) Z_b(k), 0 <= b <= a < size = refCount * tapCount, and right(a) the same with
 * the observed spectra in the place of Z_b. Tap a is Z_a(k) = X_r(k - l + leadTaps), r = a div tapCount, l = a mod tapCount.
 *   refsPtr     read    refCount + 1 planes, the observed one last; a plane is re [rows][bins] then im [rows][bins], f32, with
 *                       rows = tapCount - 1 - leadTaps zero rows, frameCount rows, and behind them at least leadTaps zero rows
 *   weightPtr   read    f32 [frameCount][bins]
 *   productsPtr written rows a (a + 3) / 2 + b, b = a + 1 for right(a); a row is re [bins] then im [bins], f32
 * bins is a multiple of 4; alignment 16; productsPtr must not overlap the rest. A NaN spoils the products of its own bin only.
 * Source: definition of weighted least squares. Plain reference: test/reference/path-system.ts.
 */

export function pathProducts(
  refsPtr: usize, refCount: i32, planeRows: i32, tapCount: i32, leadTaps: i32, weightPtr: usize, frameCount: i32, bins: i32, productsPtr: usize,
): void {
  const rowBytes = <usize>bins << 2;
  const imOffset = <usize>planeRows * rowBytes;
  const size = refCount * tapCount;
  const observed = tapAt(refsPtr, refCount, leadTaps, imOffset, tapCount, rowBytes);
  for (let at: usize = 0; at < rowBytes; at += 16) {
    for (let a = 0; a < size; a++) {
      const aPtr = tapAt(refsPtr, a / tapCount, a % tapCount, imOffset, tapCount, rowBytes) + at;
      const out = productsPtr + ((<usize>(a * (a + 3)) >> 1) * 2) * rowBytes + at;
      for (let b = 0; b <= a + 1; b += 4) {
        const b0 = pick(b, a, refsPtr, observed, imOffset, tapCount, rowBytes) + at;
        const b1 = pick(b + 1, a, refsPtr, observed, imOffset, tapCount, rowBytes) + at;
        const b2 = pick(b + 2, a, refsPtr, observed, imOffset, tapCount, rowBytes) + at;
        const b3 = pick(b + 3, a, refsPtr, observed, imOffset, tapCount, rowBytes) + at;
        addFour(aPtr, b0, b1, b2, b3, weightPtr + at, imOffset, frameCount, rowBytes, out + <usize>b * 2 * rowBytes, min(4, a + 2 - b));
      }
    }
  }
}

// @ts-ignore: decorator
@inline
function tapAt(refsPtr: usize, ref: i32, tap: i32, imOffset: usize, tapCount: i32, rowBytes: usize): usize {
  return refsPtr + <usize>ref * 2 * imOffset + <usize>(tapCount - 1 - tap) * rowBytes;
}

/** Tap b, or the observed spectra from b = a + 1 on. */
// @ts-ignore: decorator
@inline
function pick(b: i32, a: i32, refsPtr: usize, observed: usize, imOffset: usize, tapCount: i32, rowBytes: usize): usize {
  return b > a ? observed : tapAt(refsPtr, b / tapCount, b % tapCount, imOffset, tapCount, rowBytes);
}

function addFour(
  a: usize, b0: usize, b1: usize, b2: usize, b3: usize, w: usize, imOffset: usize, frameCount: i32, rowBytes: usize, out: usize, count: i32,
): void {
  let r0 = f32x4.splat(0), r1 = r0, r2 = r0, r3 = r0, i0 = r0, i1 = r0, i2 = r0, i3 = r0;
  for (let k = 0; k < frameCount; k++) {
    const g = v128.load(w);
    const xr = f32x4.mul(g, v128.load(a)), xi = f32x4.mul(g, v128.load(a + imOffset));
    let yr = v128.load(b0), yi = v128.load(b0 + imOffset);
    r0 = f32x4.add(r0, f32x4.add(f32x4.mul(xr, yr), f32x4.mul(xi, yi)));
    i0 = f32x4.add(i0, f32x4.sub(f32x4.mul(xr, yi), f32x4.mul(xi, yr)));
    yr = v128.load(b1); yi = v128.load(b1 + imOffset);
    r1 = f32x4.add(r1, f32x4.add(f32x4.mul(xr, yr), f32x4.mul(xi, yi)));
    i1 = f32x4.add(i1, f32x4.sub(f32x4.mul(xr, yi), f32x4.mul(xi, yr)));
    yr = v128.load(b2); yi = v128.load(b2 + imOffset);
    r2 = f32x4.add(r2, f32x4.add(f32x4.mul(xr, yr), f32x4.mul(xi, yi)));
    i2 = f32x4.add(i2, f32x4.sub(f32x4.mul(xr, yi), f32x4.mul(xi, yr)));
    yr = v128.load(b3); yi = v128.load(b3 + imOffset);
    r3 = f32x4.add(r3, f32x4.add(f32x4.mul(xr, yr), f32x4.mul(xi, yi)));
    i3 = f32x4.add(i3, f32x4.sub(f32x4.mul(xr, yi), f32x4.mul(xi, yr)));
    a += rowBytes; w += rowBytes; b0 += rowBytes; b1 += rowBytes; b2 += rowBytes; b3 += rowBytes;
  }
  v128.store(out, r0); v128.store(out + rowBytes, i0);
  if (count > 1) { v128.store(out + 2 * rowBytes, r1); v128.store(out + 3 * rowBytes, i1); }
  if (count > 2) { v128.store(out + 4 * rowBytes, r2); v128.store(out + 5 * rowBytes, i2); }
  if (count > 3) { v128.store(out + 6 * rowBytes, r3); v128.store(out + 7 * rowBytes, i3); }
}
