/**
 * Milliseconds since 1970 of a date and time in ISO 8601, as `Date.parse` reads it; NaN also for days that do not exist:
 * 30 February rolls over to March in some engines.
 */
export function parseDateTime(text: string): number {
  const day = /^(\d{4})-(\d{2})-(\d{2})/.exec(text);
  if (!day) return NaN;
  const [year, month, date] = day.slice(1).map(Number);
  const there = new Date(Date.UTC(year, month - 1, date));
  return there.getUTCMonth() === month - 1 && there.getUTCDate() === date ? Date.parse(text) : NaN;
}
