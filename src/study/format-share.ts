/** A number as a person reads it: two digits that count, never an exponent. */
export function formatFew(value: number): string {
  if (value === 0) return '0';
  if (Math.abs(value) < 1e-4) return `${value < 0 ? '-' : ''}0.0001`;
  return Math.abs(value) < 9.95 ? value.toPrecision(2) : value.toFixed(0);
}

/** A share of one as percent; what is not quite all is not called all. */
export function formatPercent(share: number): string {
  const percent = 100 * share;
  return `${percent >= 99.5 && percent < 100 ? (Math.floor(10 * percent) / 10).toFixed(1) : formatFew(percent)} %`;
}
