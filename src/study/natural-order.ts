/** Orders names as people count: 'b2' before 'b10'; the same on every system. */
export function compareNaturally(a: string, b: string): number {
  const left = a.match(/\d+|\D+/g) ?? [];
  const right = b.match(/\d+|\D+/g) ?? [];
  for (let i = 0; i < Math.min(left.length, right.length); i++) {
    const isNumber = /^\d/.test(left[i]) && /^\d/.test(right[i]);
    const order = isNumber ? Number(left[i]) - Number(right[i]) : 0;
    if (order !== 0) return order;
    if (left[i] !== right[i]) return left[i] < right[i] ? -1 : 1;
  }
  return left.length - right.length;
}
