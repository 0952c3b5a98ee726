/** Plain reference of a level over the floor, dB, smoothed over three frames. */
export function referenceLevel(sums: ArrayLike<number>, floorSum: number): number[] {
  const share = (t: number): number => (t >= 0 && t < sums.length ? Math.fround(sums[t] / floorSum) : 0);
  return Array.from({ length: sums.length }, (_, t) => {
    const mean = (2 * share(t) + share(t - 1) + share(t + 1)) / 4;
    return mean > 1e-3 ? 10 * Math.log10(mean) : -30;
  });
}
