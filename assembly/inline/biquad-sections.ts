/**
 * Second-order sections over a block of lanes, in place (transposed direct form II).
 *
 * Formula per section: y = b0 x + s1; s1 = b1 x - a1 y + s2; s2 = b2 x - a2 y.
 *   sosPtr   read          f32[5] b0 b1 b2 a1 a2 (a0 = 1)
 *   statePtr read, written [s1 x 4][s2 x 4]
 *   lanesPtr read, written v128[count], 16-aligned
 * Two sections run in one loop so that one's latency hides the other's. Source: Oppenheim & Schafer 6.4.
 * Plain reference: test/reference/biquad.ts.
 */
import { multiplyAdd, subtractProduct } from './multiply-add';

/** Runs all sections over the block. */
export function runSections(lanesPtr: usize, count: i32, sosPtr: usize, sectionCount: i32, statePtr: usize): void {
  let i = 0;
  for (; i + 1 < sectionCount; i += 2) runTwoSections(lanesPtr, count, sosPtr + <usize>i * 20, statePtr + (<usize>i << 5));
  if (i < sectionCount) runOneSection(lanesPtr, count, sosPtr + <usize>i * 20, statePtr + (<usize>i << 5));
}

function runOneSection(lanesPtr: usize, count: i32, sosPtr: usize, statePtr: usize): void {
  const b0 = v128.load_splat<f32>(sosPtr), b1 = v128.load_splat<f32>(sosPtr, 4), b2 = v128.load_splat<f32>(sosPtr, 8);
  const a1 = v128.load_splat<f32>(sosPtr, 12), a2 = v128.load_splat<f32>(sosPtr, 16);
  let s1 = v128.load(statePtr), s2 = v128.load(statePtr, 16);
  const end = lanesPtr + (<usize>count << 4);
  for (let p = lanesPtr; p < end; p += 16) {
    const x = v128.load(p);
    const y = multiplyAdd(b0, x, s1);
    s1 = subtractProduct(a1, y, multiplyAdd(b1, x, s2));
    s2 = subtractProduct(a2, y, f32x4.mul(b2, x));
    v128.store(p, y);
  }
  v128.store(statePtr, s1);
  v128.store(statePtr, s2, 16);
}

function runTwoSections(lanesPtr: usize, count: i32, sosPtr: usize, statePtr: usize): void {
  const b0 = v128.load_splat<f32>(sosPtr), b1 = v128.load_splat<f32>(sosPtr, 4), b2 = v128.load_splat<f32>(sosPtr, 8);
  const a1 = v128.load_splat<f32>(sosPtr, 12), a2 = v128.load_splat<f32>(sosPtr, 16);
  const d0 = v128.load_splat<f32>(sosPtr, 20), d1 = v128.load_splat<f32>(sosPtr, 24), d2 = v128.load_splat<f32>(sosPtr, 28);
  const c1 = v128.load_splat<f32>(sosPtr, 32), c2 = v128.load_splat<f32>(sosPtr, 36);
  let s1 = v128.load(statePtr), s2 = v128.load(statePtr, 16), t1 = v128.load(statePtr, 32), t2 = v128.load(statePtr, 48);
  const end = lanesPtr + (<usize>count << 4);
  for (let p = lanesPtr; p < end; p += 16) {
    const x = v128.load(p);
    const y = multiplyAdd(b0, x, s1);
    s1 = subtractProduct(a1, y, multiplyAdd(b1, x, s2));
    s2 = subtractProduct(a2, y, f32x4.mul(b2, x));
    const z = multiplyAdd(d0, y, t1);
    t1 = subtractProduct(c1, z, multiplyAdd(d1, y, t2));
    t2 = subtractProduct(c2, z, f32x4.mul(d2, y));
    v128.store(p, z);
  }
  v128.store(statePtr, s1);
  v128.store(statePtr, s2, 16);
  v128.store(statePtr, t1, 32);
  v128.store(statePtr, t2, 48);
}

/**
 * Sets values below 1e-15 to 0, so that silence after sound never runs on denormals (a hundred times slower on most processors), and
 * values that are not finite, or beyond 1e30, to 0, so that a NaN ends with its block.
 */
// @ts-ignore: decorator
@inline
export function cleanVector(v: v128): v128 {
  const size = f32x4.abs(v);
  return v128.and(v, v128.and(f32x4.ge(size, f32x4.splat(1e-15)), f32x4.le(size, f32x4.splat(1e30))));
}

export function cleanState(statePtr: usize, vectorCount: i32): void {
  const end = statePtr + (<usize>vectorCount << 4);
  for (let p = statePtr; p < end; p += 16) v128.store(p, cleanVector(v128.load(p)));
}

/** Sets samples below 1e-30 to 0: denormal input is silence. NaN stays. */
export function flushLanes(lanesPtr: usize, count: i32): void {
  const least = f32x4.splat(1e-30);
  const end = lanesPtr + (<usize>count << 4);
  for (let p = lanesPtr; p < end; p += 16) {
    const v = v128.load(p);
    v128.store(p, v128.andnot(v, f32x4.lt(f32x4.abs(v), least)));
  }
}
