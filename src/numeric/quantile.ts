/**
 * Quantile of ascending values by linear interpolation between order statistics (type 7 of Hyndman & Fan 1996). NaN for no value.
 * @param p in [0, 1].
 */
export function sortedQuantile(sorted: ArrayLike<number>, p: number): number {
  const n = sorted.length;
  if (n === 0) return NaN;
  const position = Math.min(Math.max(p, 0), 1) * (n - 1);
  const below = Math.floor(position);
  const above = Math.min(below + 1, n - 1);
  return sorted[below] + (position - below) * (sorted[above] - sorted[below]);
}

/**
 * The same for ascending values that each occur `copies[i]` times (whole numbers, 0 allowed), without making the copies.
 * O(n); NaN for no value.
 */
export function sortedQuantileOfCopies(sorted: ArrayLike<number>, copies: ArrayLike<number>, p: number): number {
  let total = 0;
  for (let i = 0; i < sorted.length; i++) total += copies[i];
  if (total === 0) return NaN;
  const position = Math.min(Math.max(p, 0), 1) * (total - 1);
  const belowRank = Math.floor(position);
  const aboveRank = Math.min(belowRank + 1, total - 1);
  let seen = 0;
  let below = NaN;
  for (let i = 0; i < sorted.length; i++) {
    const end = seen + copies[i];
    if (belowRank >= seen && belowRank < end) below = sorted[i];
    if (aboveRank >= seen && aboveRank < end) return below + (position - belowRank) * (sorted[i] - below);
    seen = end;
  }
  return below;
}
