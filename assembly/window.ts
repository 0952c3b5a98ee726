/**
 * Hann windows.
 *
 * Formula: w[i] = scale * (0.5 - 0.5 cos(2 pi i / d)), i = 0 .. count-1, d = count for the periodic (DFT-even) form and count - 1 for
 * the symmetric one (isSymmetric = 1; a single value is scale). A constant window is scale everywhere.
 * windowPtr written f32[count], any alignment that f32 allows. Sums are of the values as written, in f64.
 * Source: Harris 1978, Proc. IEEE 66(1) 51-83. Plain reference: test/reference/window.ts.
 */
export function hannWindow(windowPtr: usize, count: i32, isSymmetric: i32, scale: f64): void {
  const d = <f64>(isSymmetric ? count - 1 : count);
  for (let i = 0; i < count; i++) {
    const value = d > 0 && count > 1 ? 0.5 - 0.5 * Math.cos(2 * Math.PI * <f64>i / d) : 1;
    store<f32>(windowPtr + (<usize>i << 2), <f32>(scale * value));
  }
}

/** Sum of the window: a sine of amplitude A in the middle of a bin has magnitude A / 2 times this. */
export function sumWindow(windowPtr: usize, count: i32): f64 {
  let sum: f64 = 0;
  for (let i = 0; i < count; i++) sum += <f64>load<f32>(windowPtr + (<usize>i << 2));
  return sum;
}

/** Sum of squares of the window: white noise of variance v has expected |X|^2 of v times this. */
export function sumWindowSquares(windowPtr: usize, count: i32): f64 {
  let sum: f64 = 0;
  for (let i = 0; i < count; i++) {
    const w = <f64>load<f32>(windowPtr + (<usize>i << 2));
    sum += w * w;
  }
  return sum;
}
