/** Plain reference in f64: running median of block quantiles over positive finite values. */

/** Linear between order statistics; 0 for none. */
export function referenceQuantile(values: number[], quantile: number): number {
  const sorted = values.filter((v) => v > 0 && Number.isFinite(v)).sort((a, b) => a - b);
  if (sorted.length === 0) return 0;
  const place = quantile * (sorted.length - 1);
  const low = Math.floor(place);
  return sorted[low] + (place - low) * ((sorted[low + 1] ?? sorted[low]) - sorted[low]);
}

export function referenceNoiseFloor(energies: ArrayLike<number>, blockHops: number, quantile: number, radius: number): number[] {
  const all = Array.from(energies);
  const rows: number[] = [];
  for (let i = 0; i < all.length; i += blockHops) rows.push(referenceQuantile(all.slice(i, i + blockHops), quantile));
  return rows.map((_, b) => referenceQuantile(rows.slice(Math.max(0, b - radius), b + radius + 1), 0.5));
}
