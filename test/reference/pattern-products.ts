/** Plain reference of inner products of patterns of `width` values. */
export function referenceProducts(patterns: ArrayLike<number>, width: number, first: number, others: readonly number[]): number[] {
  return others.map((m) => {
    let sum = 0;
    for (let i = 0; i < width; i++) sum += patterns[first * width + i] * patterns[m * width + i];
    return sum;
  });
}
