/**
 * RFC 3339 time in UTC with six decimals, `elapsedSec` after `startUtc` (RFC 3339 in UTC, any number of decimals); '' without a start.
 * @example formatUtc('2024-05-01T06:00:00Z', 5.41447) // '2024-05-01T06:00:05.414470Z'
 */
export function formatUtc(startUtc: string | undefined, elapsedSec: number): string {
  if (!startUtc || !Number.isFinite(elapsedSec)) return '';
  const wholeMs = Date.parse(startUtc.replace(/\.\d+/, ''));
  if (!Number.isFinite(wholeMs)) return '';
  const startMicro = Math.round(Number(/\.\d+/.exec(startUtc)?.[0] ?? 0) * 1e6);
  // Microseconds since 1970 stay below 2^53 until the year 2255.
  const micro = wholeMs * 1000 + startMicro + Math.round(elapsedSec * 1e6);
  const second = Math.floor(micro / 1e6);
  return `${new Date(second * 1000).toISOString().slice(0, 19)}.${String(micro - second * 1e6).padStart(6, '0')}Z`;
}
