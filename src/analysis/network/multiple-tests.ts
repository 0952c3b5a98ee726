/**
 * Two-sided p of an observed value among surrogates, with the observed one counted (add one), so that it is never 0:
 * twice the smaller of the two one-sided values, at most 1 (Davison and Hinkley 1997, section 4.2; Phipson and Smyth 2010).
 */
export function computeTwoSidedP(observed: number, surrogates: ArrayLike<number>): number {
  let above = 1;
  let below = 1;
  for (let s = 0; s < surrogates.length; s++) {
    if (surrogates[s] >= observed) above++;
    if (surrogates[s] <= observed) below++;
  }
  return Math.min(1, (2 * Math.min(above, below)) / (surrogates.length + 1));
}

/**
 * q-values: p adjusted after Benjamini and Hochberg (1995, J. R. Stat. Soc. B 57:289-300). Missing values stay NaN and do not count.
 * @example adjustFalseDiscovery([0.01, 0.02, 0.5]) // [0.03, 0.03, 0.5]
 */
export function adjustFalseDiscovery(p: readonly number[]): number[] {
  const order = p.map((_, i) => i).filter((i) => Number.isFinite(p[i])).sort((a, b) => p[a] - p[b]);
  const q = p.map(() => NaN);
  let least = 1;
  for (let rank = order.length; rank >= 1; rank--) {
    least = Math.min(least, (p[order[rank - 1]] * order.length) / rank);
    q[order[rank - 1]] = least;
  }
  return q;
}
