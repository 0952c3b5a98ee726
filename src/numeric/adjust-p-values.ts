/** Values that are not finite (tests that could not be made) stay as they are and do not count as tests. */
type Adjust = (pValues: readonly number[]) => number[];

/** Step-down adjustment that keeps the chance of any false finding (Holm 1979, Scandinavian Journal of Statistics 6, 65-70). */
export const adjustHolm: Adjust = (pValues) => adjust(pValues, (sorted) => {
  let largest = 0;
  return sorted.map((p, i) => (largest = Math.max(largest, Math.min(1, (sorted.length - i) * p))));
});

/** Step-up adjustment that keeps the share of false findings among findings (Benjamini & Hochberg 1995, J. R. Stat. Soc. B 57, 289-300). */
export const adjustBenjaminiHochberg: Adjust = (pValues) => adjust(pValues, (sorted) => {
  const out = new Array<number>(sorted.length);
  let smallest = 1;
  for (let i = sorted.length - 1; i >= 0; i--) out[i] = smallest = Math.min(smallest, (sorted.length / (i + 1)) * sorted[i]);
  return out;
});

function adjust(pValues: readonly number[], steps: (sorted: number[]) => number[]): number[] {
  const order = pValues.map((_, i) => i).filter((i) => Number.isFinite(pValues[i])).sort((a, b) => pValues[a] - pValues[b]);
  const adjusted = steps(order.map((i) => pValues[i]));
  const out = [...pValues];
  order.forEach((index, rank) => { out[index] = adjusted[rank]; });
  return out;
}
