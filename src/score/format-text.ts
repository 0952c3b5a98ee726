import type { Estimate } from './types.js';

/** First column left, the others right. */
export function alignColumns(lines: readonly string[][]): string[] {
  const widths = lines[0].map((_, column) => Math.max(...lines.map((line) => line[column].length)));
  return lines.map((line) => line.map((cell, i) => (i === 0 ? cell.padEnd(widths[i]) : cell.padStart(widths[i]))).join('  ').trimEnd());
}

/** 'low to high', '' where there is no interval. */
export function formatInterval({ low, high }: Estimate, n: number): string {
  return low === null || high === null ? '' : `${digits(low, n)} to ${digits(high, n)}`;
}

/** Fixed decimals, '-' where there is no value. */
export function digits(value: number | null, n: number): string {
  return value === null || !Number.isFinite(value) ? '-' : value.toFixed(n);
}

/** With its sign, two decimals. */
export function signed(value: number | null): string {
  return value === null ? '-' : `${value >= 0 ? '+' : ''}${value.toFixed(2)}`;
}
