/** Plain reference in f64: a finite impulse response. */

/** y[i] = sum of taps[k] x[i - k]; x before its first frame is `before`, whose last value comes right before it, and 0 before that. */
export function referenceFilter(x: ArrayLike<number>, taps: ArrayLike<number>, before: ArrayLike<number> = []): Float64Array {
  const at = (i: number): number => (i >= 0 ? x[i] : before[before.length + i] ?? 0);
  return Float64Array.from({ length: x.length }, (_, i) => {
    let y = 0;
    for (let k = 0; k < taps.length; k++) y += taps[k] * at(i - k);
    return y;
  });
}
