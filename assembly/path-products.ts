/**
 * Normal equations of linear paths per bin, four bins at a time.
 *
 * Formula: product(a, b) = sum over k of w(k) conj(Z_a(k)) Z_b(k), 0 <= b <= a < size = refCount * tapCount, and right(a) the same with
 * the observed spectra in the place of Z_b. Tap a is Z_a(k) = X_r(k - l + leadTaps), r = a div tapCount, l = a mod tapCount; frames beyond the
 * ends are 0. With m = k - l + leadTaps the product of two taps d apart is sum over m of w(m + l - leadTaps) conj(X_r(m)) X_s(m + d): one
 * complex product serves all l.
 *   tablePtr    read    i32[refCount + 1], addresses of planes, the observed one last; a plane is re [frameCount][width] then im, f32
 *   weightPtr   read    f32 [frameCount][width]
 *   scratchPtr  written 32 (refCount (frameCount + 2 tapCount) + 2 (frameCount + tapCount) + 8) bytes, of which the last 8 are read only
 *   productsPtr written rows a (a + 3) / 2 + b, b = a + 1 for right(a); a row is re [width] then im [width], f32
 * width is a multiple of 4; alignment 16 (table 4); written memory must not overlap the rest. A NaN spoils its own bin only.
 * Source: definition of weighted least squares. Plain reference: test/reference/path-system.ts.
 */

export function pathProducts(
  tablePtr: usize, refCount: i32, frameCount: i32, tapCount: i32, leadTaps: i32, weightPtr: usize, width: i32, scratchPtr: usize, productsPtr: usize,
): void {
  const rowBytes = <usize>width << 2, imOffset = <usize>frameCount * rowBytes, edge = <usize>(tapCount - 1) << 5;
  const columnBytes = (<usize>frameCount << 5) + 2 * edge, weights = scratchPtr + <usize>refCount * columnBytes;
  const right = weights + (<usize>(frameCount + tapCount) << 4), observed = <usize>load<i32>(tablePtr + (<usize>refCount << 2));
  memory.fill(scratchPtr, 0, right - scratchPtr + (<usize>(frameCount + tapCount) << 5));
  for (let at: usize = 0; at < rowBytes; at += 16) {
    for (let r = 0; r < refCount; r++) copyColumn(<usize>load<i32>(tablePtr + (<usize>r << 2)) + at, frameCount, rowBytes, imOffset, scratchPtr + <usize>r * columnBytes + edge);
    weighColumn(weightPtr + at, observed + at, frameCount, rowBytes, imOffset, weights + (<usize>leadTaps << 4), right + (<usize>leadTaps << 5));
    for (let r = 0; r < refCount; r++) {
      const x = scratchPtr + <usize>r * columnBytes + edge;
      for (let l = 0; l < tapCount; l += 4) addRight(x, right + (<usize>l << 5), frameCount, productsPtr + at, r * tapCount + l, min(4, tapCount - l), rowBytes);
      for (let s = 0; s <= r; s++) {
        const y = scratchPtr + <usize>s * columnBytes + edge;
        for (let d = s == r ? 0 : 1 - tapCount; d < tapCount; d++) {
          const end = min(tapCount, tapCount + d);
          for (let l = max(0, d); l < end; l += 4) {
            const a = r * tapCount + l, b = s * tapCount + l - d, count = min(4, end - l), w = weights + (<usize>l << 4), out = productsPtr + at;
            if (count > 2) addShifted(x, y + <usize>(d << 5), w, frameCount, out, a, b, count, rowBytes);
            else addShiftedPair(x, y + <usize>(d << 5), w, frameCount, out, a, b, count, rowBytes);
          }
        }
      }
    }
  }
}

/** Real and imaginary parts of four bins side by side, frame after frame. */
export function copyColumn(source: usize, frameCount: i32, rowBytes: usize, imOffset: usize, target: usize): void {
  const end = target + (<usize>frameCount << 5);
  for (; target < end; target += 32, source += rowBytes) {
    v128.store(target, v128.load(source));
    v128.store(target, v128.load(source + imOffset), 16);
  }
}

function weighColumn(weight: usize, observed: usize, frameCount: i32, rowBytes: usize, imOffset: usize, weights: usize, right: usize): void {
  for (let k = 0; k < frameCount; k++, weight += rowBytes, observed += rowBytes, weights += 16, right += 32) {
    const w = v128.load(weight);
    v128.store(weights, w);
    v128.store(right, f32x4.mul(w, v128.load(observed)));
    v128.store(right, f32x4.mul(w, v128.load(observed + imOffset)), 16);
  }
}

// @ts-ignore: decorator
@inline
function rowAt(out: usize, a: i32, b: i32, rowBytes: usize): usize {
  return out + <usize>(((a * (a + 3)) >> 1) + b) * 2 * rowBytes;
}

// @ts-ignore: decorator
@inline
function storeRow(row: usize, re: v128, im: v128, rowBytes: usize): void {
  v128.store(row, re);
  v128.store(row + rowBytes, im);
}

/** Products of `count` pairs of taps that lie as far apart, from (a, b) on. */
function addShifted(x: usize, y: usize, w: usize, frameCount: i32, out: usize, a: i32, b: i32, count: i32, rowBytes: usize): void {
  let r0 = f32x4.splat(0), r1 = r0, r2 = r0, r3 = r0, i0 = r0, i1 = r0, i2 = r0, i3 = r0;
  const end = x + (<usize>frameCount << 5);
  for (; x < end; x += 32, y += 32, w += 16) {
    const xr = v128.load(x), xi = v128.load(x, 16), yr = v128.load(y), yi = v128.load(y, 16);
    const re = f32x4.add(f32x4.mul(xr, yr), f32x4.mul(xi, yi)), im = f32x4.sub(f32x4.mul(xr, yi), f32x4.mul(xi, yr));
    let g = v128.load(w);
    r0 = f32x4.add(r0, f32x4.mul(g, re)); i0 = f32x4.add(i0, f32x4.mul(g, im));
    g = v128.load(w, 16);
    r1 = f32x4.add(r1, f32x4.mul(g, re)); i1 = f32x4.add(i1, f32x4.mul(g, im));
    g = v128.load(w, 32);
    r2 = f32x4.add(r2, f32x4.mul(g, re)); i2 = f32x4.add(i2, f32x4.mul(g, im));
    g = v128.load(w, 48);
    r3 = f32x4.add(r3, f32x4.mul(g, re)); i3 = f32x4.add(i3, f32x4.mul(g, im));
  }
  storeRow(rowAt(out, a, b, rowBytes), r0, i0, rowBytes);
  if (count > 1) storeRow(rowAt(out, a + 1, b + 1, rowBytes), r1, i1, rowBytes);
  if (count > 2) storeRow(rowAt(out, a + 2, b + 2, rowBytes), r2, i2, rowBytes);
  if (count > 3) storeRow(rowAt(out, a + 3, b + 3, rowBytes), r3, i3, rowBytes);
}

/** The same for one or two pairs. */
function addShiftedPair(x: usize, y: usize, w: usize, frameCount: i32, out: usize, a: i32, b: i32, count: i32, rowBytes: usize): void {
  let r0 = f32x4.splat(0), r1 = r0, i0 = r0, i1 = r0;
  const end = x + (<usize>frameCount << 5);
  for (; x < end; x += 32, y += 32, w += 16) {
    const xr = v128.load(x), xi = v128.load(x, 16), yr = v128.load(y), yi = v128.load(y, 16);
    const re = f32x4.add(f32x4.mul(xr, yr), f32x4.mul(xi, yi)), im = f32x4.sub(f32x4.mul(xr, yi), f32x4.mul(xi, yr));
    let g = v128.load(w);
    r0 = f32x4.add(r0, f32x4.mul(g, re)); i0 = f32x4.add(i0, f32x4.mul(g, im));
    g = v128.load(w, 16);
    r1 = f32x4.add(r1, f32x4.mul(g, re)); i1 = f32x4.add(i1, f32x4.mul(g, im));
  }
  storeRow(rowAt(out, a, b, rowBytes), r0, i0, rowBytes);
  if (count > 1) storeRow(rowAt(out, a + 1, b + 1, rowBytes), r1, i1, rowBytes);
}

/** Right sides of `count` taps from a on. */
function addRight(x: usize, y: usize, frameCount: i32, out: usize, a: i32, count: i32, rowBytes: usize): void {
  let r0 = f32x4.splat(0), r1 = r0, r2 = r0, r3 = r0, i0 = r0, i1 = r0, i2 = r0, i3 = r0;
  const end = x + (<usize>frameCount << 5);
  for (; x < end; x += 32, y += 32) {
    const xr = v128.load(x), xi = v128.load(x, 16);
    let yr = v128.load(y), yi = v128.load(y, 16);
    r0 = f32x4.add(r0, f32x4.add(f32x4.mul(xr, yr), f32x4.mul(xi, yi))); i0 = f32x4.add(i0, f32x4.sub(f32x4.mul(xr, yi), f32x4.mul(xi, yr)));
    yr = v128.load(y, 32); yi = v128.load(y, 48);
    r1 = f32x4.add(r1, f32x4.add(f32x4.mul(xr, yr), f32x4.mul(xi, yi))); i1 = f32x4.add(i1, f32x4.sub(f32x4.mul(xr, yi), f32x4.mul(xi, yr)));
    yr = v128.load(y, 64); yi = v128.load(y, 80);
    r2 = f32x4.add(r2, f32x4.add(f32x4.mul(xr, yr), f32x4.mul(xi, yi))); i2 = f32x4.add(i2, f32x4.sub(f32x4.mul(xr, yi), f32x4.mul(xi, yr)));
    yr = v128.load(y, 96); yi = v128.load(y, 112);
    r3 = f32x4.add(r3, f32x4.add(f32x4.mul(xr, yr), f32x4.mul(xi, yi))); i3 = f32x4.add(i3, f32x4.sub(f32x4.mul(xr, yi), f32x4.mul(xi, yr)));
  }
  storeRow(rowAt(out, a, a + 1, rowBytes), r0, i0, rowBytes);
  if (count > 1) storeRow(rowAt(out, a + 1, a + 2, rowBytes), r1, i1, rowBytes);
  if (count > 2) storeRow(rowAt(out, a + 2, a + 3, rowBytes), r2, i2, rowBytes);
  if (count > 3) storeRow(rowAt(out, a + 3, a + 4, rowBytes), r3, i3, rowBytes);
}
