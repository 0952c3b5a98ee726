/** Plain references in f64: running mean square after a second-order section, median of several. */

/** Mean over i + half - width + 1 .. i + half (half = floor(width / 2)) of y^2, y = b (x - 2 x1 + x2) - a1 y1 - a2 y2 from `warm` frames before. */
export function referenceEnvelope(
  x: ArrayLike<number>, b: number, a1: number, a2: number, first: number, last: number, warm: number, width: number,
): Float64Array {
  const start = Math.max(0, first - warm);
  const y = new Float64Array(last);
  const at = (v: ArrayLike<number>, i: number): number => (i >= start ? v[i] : 0);
  for (let i = start; i < last; i++) y[i] = b * (x[i] - 2 * at(x, i - 1) + at(x, i - 2)) - a1 * at(y, i - 1) - a2 * at(y, i - 2);
  const half = Math.floor(width / 2);
  return Float64Array.from({ length: last - first }, (_, n) => {
    let sum = 0;
    for (let i = Math.max(first, first + n + half - width + 1); i <= Math.min(last - 1, first + n + half); i++) sum += y[i] * y[i];
    return sum / width;
  });
}

/** Upper median over rows of scale (row - noise), negative ones as 0. */
export function referenceRoom(rows: ArrayLike<number>[], noise: number[], scale: number[]): Float64Array {
  return Float64Array.from(rows[0], (_, n) => {
    const column = rows.map((row, k) => Math.max(0, row[n] - noise[k]) * scale[k]).sort((a, b) => a - b);
    return column[Math.floor(column.length / 2)];
  });
}
