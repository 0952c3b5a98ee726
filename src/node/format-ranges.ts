/** Whole numbers as a list of ranges that people and job schedulers read: 2-5,9. */
export function formatRanges(numbers: readonly number[]): string {
  const sorted = [...new Set(numbers)].sort((a, b) => a - b);
  const ranges: [number, number][] = [];
  for (const n of sorted) {
    const last = ranges.at(-1);
    if (last && n === last[1] + 1) last[1] = n;
    else ranges.push([n, n]);
  }
  return ranges.map(([from, to]) => (from === to ? String(from) : `${from}-${to}`)).join(',');
}
