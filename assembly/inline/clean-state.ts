/** Memory of recursive filters, kept out of denormals and of what is not finite. */

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

/** Cleans `vectorCount` vectors at `statePtr` in place. */
export function cleanState(statePtr: usize, vectorCount: i32): void {
  const end = statePtr + (<usize>vectorCount << 4);
  for (let p = statePtr; p < end; p += 16) v128.store(p, cleanVector(v128.load(p)));
}
