/** Times as people read them. */

/** Seconds since the start as h:mm:ss with as many decimals as the scale needs. */
export function formatClock(sec: number, decimals = 0): string {
  const whole = Math.max(0, Number(sec.toFixed(decimals)));
  const hours = Math.floor(whole / 3600);
  const minutes = Math.floor((whole % 3600) / 60);
  const rest = (whole % 60).toFixed(decimals).padStart(decimals ? decimals + 3 : 2, '0');
  return hours || whole >= 3600 ? `${hours}:${String(minutes).padStart(2, '0')}:${rest}` : `${minutes}:${rest}`;
}

export function formatDuration(sec: number): string {
  if (sec < 1) return `${(1000 * sec).toFixed(0)} ms`;
  if (sec < 120) return `${sec.toFixed(sec < 10 && !Number.isInteger(sec) ? 2 : 0)} s`;
  return sec < 7200 ? `${(sec / 60).toFixed(0)} min` : `${(sec / 3600).toFixed(1)} h`;
}

/** A share of one without the leading zero: .972 */
export function formatShare(value: number | null, decimals = 2): string {
  if (value === null || !Number.isFinite(value)) return '–';
  const text = value.toFixed(decimals);
  return text.startsWith('0.') ? text.slice(1) : text;
}

/** Reads 83.5, 1:23.5 or 0:01:23.5; undefined where it is no time. */
export function parseClock(text: string): number | undefined {
  const parts = text.trim().split(':');
  if (parts.length > 3 || parts.some((p, i) => !(i === parts.length - 1 ? /^\d+(\.\d*)?$/ : /^\d+$/).test(p))) return undefined;
  return parts.reduce((sum, p) => sum * 60 + Number(p), 0);
}

/** Steps of a time axis, the smallest first. */
const STEPS = [0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 30, 60, 120, 300, 600, 1800, 3600, 7200, 21600, 43200, 86400, 172800, 432000, 864000, 2592000];

/** Smallest step that leaves `leastPx` between marks. */
export function chooseStep(secPerPx: number, leastPx: number): number {
  return STEPS.find((s) => s / secPerPx >= leastPx) ?? STEPS[STEPS.length - 1];
}
