/** Text of the report: escaping, numbers, times. */

/** Escapes a name for HTML and SVG; control characters, which XML forbids, become '?'. */
export function escapeHtml(text: string): string {
  return text.replace(/[\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f\ufffe\uffff]/g, '?').replaceAll('&', '&amp;').replaceAll('<', '&lt;')
    .replaceAll('>', '&gt;').replaceAll('"', '&quot;').replaceAll("'", '&#39;');
}

/** Fixed decimals with a true minus sign; an en dash where there is no value. */
export function showNumber(value: number | null | undefined, decimals = 0): string {
  if (value === null || value === undefined || !Number.isFinite(value)) return '–';
  const text = value.toFixed(decimals);
  return /^-0(\.0*)?$/.test(text) ? text.slice(1) : text.replace('-', '−');
}

/** A share as per cent: more decimals near 0 and 1, so that 99.96 % is not shown as 100 %. */
export function showPercent(share: number | null | undefined): string {
  if (share === null || share === undefined || !Number.isFinite(share)) return '–';
  const rest = Math.min(Math.abs(share), Math.abs(1 - share));
  return `${showNumber(100 * share, rest === 0 ? 0 : rest < 0.001 ? 2 : rest < 0.1 ? 1 : 0)}\u00a0%`;
}

/** A probability; what is not certain is never shown as 0 or 1. */
export function showProbability(p: number, decimals = 2): string {
  if (!Number.isFinite(p)) return '–';
  const least = 10 ** -decimals;
  if (p < 1 && p > 1 - least / 2) return `>${(1 - least).toFixed(decimals)}`;
  if (p > 0 && p < least / 2) return `<${least.toFixed(decimals)}`;
  return p.toFixed(decimals);
}

/** Seconds as '58.0 s', '12 min 30 s', '5 h 20 min' or '3 d 4 h'. */
export function showDuration(sec: number): string {
  if (!Number.isFinite(sec)) return '–';
  if (sec < 120) return `${showNumber(sec, sec < 100 ? 1 : 0)} s`;
  const whole = Math.round(sec);
  const parts = (big: number, bigUnit: string, small: number, smallUnit: string): string => {
    const units = Math.round(whole / small);
    const rest = units % (big / small);
    return `${Math.floor(units / (big / small))} ${bigUnit}${rest ? ` ${rest} ${smallUnit}` : ''}`;
  };
  if (whole < 7200) return parts(60, 'min', 1, 's');
  return whole < 172800 ? parts(3600, 'h', 60, 'min') : parts(86400, 'd', 3600, 'h');
}

/** '1 call', '2 calls'. */
export function showCount(count: number, one: string, many = `${one}s`): string {
  return `${groupDigits(count)} ${count === 1 ? one : many}`;
}

/** Whole numbers with a thin space at thousands from 10 000 on. */
export function groupDigits(count: number): string {
  const text = String(Math.round(count));
  return text.replace('-', '').length < 5 ? text : text.replace(/\B(?=(\d{3})+$)/g, '\u202f');
}

/** 'a', 'a and b', 'a, b and c'. */
export function joinNames(names: readonly string[]): string {
  return names.length < 2 ? names.join('') : `${names.slice(0, -1).join(', ')} and ${names[names.length - 1]}`;
}

/** At most `most` characters. */
export function shorten(text: string, most: number): string {
  return text.length > most ? `${text.slice(0, most - 1)}…` : text;
}
