/** Rows of features side by side in one array: a busy hour has tens of thousands, and an array with memory of its own costs several times its content. */
export function createFeatureRows(count: number, width: number): Float64Array[] {
  const all = new Float64Array(count * width);
  return Array.from({ length: count }, (_, n) => all.subarray(n * width, (n + 1) * width));
}

/** Features of an earlier look, then those that are new. */
export function writeFeatures(row: Float64Array, head: ArrayLike<number>, tail: readonly number[]): void {
  row.set(head);
  for (let k = 0; k < tail.length; k++) row[head.length + k] = tail[k];
}
