/**
 * Squares of four tracks after a second-order high-pass, and their running means, in f64.
 *
 * filterSquares: y = b (x - 2 x1 + x2) - a1 y1 - a2 y2, squares[i] = y^2; y below 1e-15 is kept as 0.
 *   lanesPtr   read          v128[count]
 *   filterPtr  read          f64[3] b a1 a2
 *   statePtr   read, written f64[x1, x2, y1, y2][4]
 *   squaresPtr written       f64[count][4]
 * runMeans: means[i] = max(0, sum of the last width squares) / width.
 *   sumPtr     read, written f64[4]
 *   ringPtr    read, written f64[width][4], the last width squares from `position` on; returns the next position
 *   lanesPtr   written       v128[count]
 * Alignment 16. Source: Oppenheim & Schafer 6.3 (direct form I). Plain reference: test/reference/room-envelope.ts.
 */

/** Bytes of the filter's state. */
export const STATE_BYTES: usize = 128;

export function filterSquares(lanesPtr: usize, count: i32, filterPtr: usize, statePtr: usize, squaresPtr: usize): void {
  // Two tracks a vector: the second pair fills the time in which the first waits for its feedback.
  const b = v128.load_splat<f64>(filterPtr), a1 = v128.load_splat<f64>(filterPtr, 8), a2 = v128.load_splat<f64>(filterPtr, 16);
  const two = f64x2.splat(2), least = f64x2.splat(1e-15);
  let p1 = v128.load(statePtr), p2 = v128.load(statePtr, 32), r1 = v128.load(statePtr, 64), r2 = v128.load(statePtr, 96);
  let q1 = v128.load(statePtr, 16), q2 = v128.load(statePtr, 48), s1 = v128.load(statePtr, 80), s2 = v128.load(statePtr, 112);
  const end = lanesPtr + (<usize>count << 4);
  let out = squaresPtr;
  for (let at = lanesPtr; at < end; at += 16) {
    const x = v128.load(at);
    const p = f64x2.promote_low_f32x4(x), q = f64x2.promote_low_f32x4(v128.shuffle<f32>(x, x, 2, 3, 2, 3));
    const r = f64x2.sub(f64x2.sub(f64x2.mul(b, f64x2.add(f64x2.sub(p, f64x2.mul(two, p1)), p2)), f64x2.mul(a1, r1)), f64x2.mul(a2, r2));
    const s = f64x2.sub(f64x2.sub(f64x2.mul(b, f64x2.add(f64x2.sub(q, f64x2.mul(two, q1)), q2)), f64x2.mul(a1, s1)), f64x2.mul(a2, s2));
    p2 = p1; p1 = p; q2 = q1; q1 = q;
    r2 = r1; r1 = v128.andnot(r, f64x2.lt(f64x2.abs(r), least));
    s2 = s1; s1 = v128.andnot(s, f64x2.lt(f64x2.abs(s), least));
    v128.store(out, f64x2.mul(r, r));
    v128.store(out, f64x2.mul(s, s), 16);
    out += 32;
  }
  v128.store(statePtr, p1); v128.store(statePtr, p2, 32); v128.store(statePtr, r1, 64); v128.store(statePtr, r2, 96);
  v128.store(statePtr, q1, 16); v128.store(statePtr, q2, 48); v128.store(statePtr, s1, 80); v128.store(statePtr, s2, 112);
}

export function runMeans(squaresPtr: usize, count: i32, width: i32, position: i32, sumPtr: usize, ringPtr: usize, lanesPtr: usize): i32 {
  const scale = f64x2.splat(1 / <f64>width), zero = f64x2.splat(0);
  const ringEnd = ringPtr + (<usize>width << 5);
  let slot = ringPtr + (<usize>position << 5);
  let low = v128.load(sumPtr), high = v128.load(sumPtr, 16);
  const end = squaresPtr + (<usize>count << 5);
  let out = lanesPtr;
  for (let at = squaresPtr; at < end; at += 32) {
    const p = v128.load(at), q = v128.load(at, 16);
    low = f64x2.sub(f64x2.add(low, p), v128.load(slot));
    high = f64x2.sub(f64x2.add(high, q), v128.load(slot, 16));
    v128.store(slot, p);
    v128.store(slot, q, 16);
    slot += 32;
    if (slot == ringEnd) slot = ringPtr;
    const a = f32x4.demote_f64x2_zero(f64x2.mul(scale, f64x2.max(zero, low)));
    const b = f32x4.demote_f64x2_zero(f64x2.mul(scale, f64x2.max(zero, high)));
    v128.store(out, v128.shuffle<f32>(a, b, 0, 1, 4, 5));
    out += 16;
  }
  v128.store(sumPtr, low);
  v128.store(sumPtr, high, 16);
  return <i32>((slot - ringPtr) >> 5);
}
