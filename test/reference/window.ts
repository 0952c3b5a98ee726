/** Plain reference in f64: Hann window. */
export function referenceHann(count: number, isSymmetric: boolean): Float64Array {
  const d = isSymmetric ? count - 1 : count;
  return Float64Array.from({ length: count }, (_, i) => (count > 1 ? 0.5 - 0.5 * Math.cos((2 * Math.PI * i) / d) : 1));
}
