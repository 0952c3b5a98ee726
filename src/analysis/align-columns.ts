/** First column left, the others right. */
export function alignColumns(lines: readonly string[][]): string[] {
  const widths = lines[0].map((_, column) => Math.max(...lines.map((line) => line[column].length)));
  return lines.map((line) => line.map((cell, i) => (i === 0 ? cell.padEnd(widths[i]) : cell.padStart(widths[i]))).join('  ').trimEnd());
}

/** Fixed decimals, '-' where there is no value. */
export function formatDigits(value: number, n: number): string {
  return Number.isFinite(value) ? value.toFixed(n) : '-';
}
