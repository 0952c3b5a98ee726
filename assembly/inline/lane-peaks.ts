/**
 * Peaks of four correlations at once (lane = track).
 *
 * findLanePeaks: seven vectors of which the first five are written: the step m in -maxSteps .. maxSteps (modulo n) of the largest value (the first of equals, 0 unless
 *   it is beaten), scale times the value at the step before, there, at the step after, and at 0. What is not a number is passed over, unless it stands at 0.
 *   lanesPtr read v128[n]; resultPtr written; maxSteps < n / 2
 * Called by set-measures.ts. Source: definition. Plain reference: test/reference/set-lags.ts.
 */

/** Largest value of each lane among steps -maxSteps .. maxSteps (modulo n), with its neighbours. */
export function findLanePeaks(lanesPtr: usize, n: i32, maxSteps: i32, scale: f32, resultPtr: usize): void {
  const zeroPtr = lanesPtr, end = lanesPtr + (<usize>n << 4), reach = <usize>maxSteps << 4;
  const best = f32x4.pmax(f32x4.pmax(v128.load(zeroPtr), largestOf(zeroPtr + 16, zeroPtr + 16 + reach)), largestOf(end - reach, end));
  // Of lanes whose largest value is not at 0 (or not a number), the first place that holds it.
  let open = v128.andnot(f32x4.eq(best, best), f32x4.eq(best, v128.load(zeroPtr)));
  let place = i32x4.splat(0);
  for (let m = -maxSteps; m <= maxSteps && v128.any_true(open); m++) {
    const isHere = v128.and(open, f32x4.eq(best, v128.load(lanesPtr + (<usize>(m & (n - 1)) << 4))));
    if (!v128.any_true(isHere)) continue;
    place = v128.bitselect(i32x4.splat(m), place, isHere);
    open = v128.andnot(open, isHere);
  }
  const factor = f32x4.splat(scale);
  v128.store(resultPtr, place);
  for (let lane: usize = 0; lane < 16; lane += 4) {
    const m = load<i32>(resultPtr + lane);
    store<f32>(resultPtr + lane, scale * load<f32>(lanesPtr + (<usize>((m - 1) & (n - 1)) << 4) + lane), 16);
    store<f32>(resultPtr + lane, scale * load<f32>(lanesPtr + (<usize>((m + 1) & (n - 1)) << 4) + lane), 48);
  }
  v128.store(resultPtr, f32x4.convert_i32x4_s(place));
  v128.store(resultPtr, f32x4.mul(factor, best), 32);
  v128.store(resultPtr, f32x4.mul(factor, v128.load(lanesPtr)), 64);
}

/** Largest of each lane, nothing that is not a number; -infinity for none. */
function largestOf(from: usize, to: usize): v128 {
  let a = f32x4.splat(-Infinity), b = a, c = a, d = a;
  let p = from;
  for (; p + 64 <= to; p += 64) {
    a = f32x4.pmax(a, v128.load(p));
    b = f32x4.pmax(b, v128.load(p, 16));
    c = f32x4.pmax(c, v128.load(p, 32));
    d = f32x4.pmax(d, v128.load(p, 48));
  }
  for (; p < to; p += 16) a = f32x4.pmax(a, v128.load(p));
  return f32x4.pmax(f32x4.pmax(a, b), f32x4.pmax(c, d));
}
