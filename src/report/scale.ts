/** Linear scales with round ticks, and axes with units. */
import { label, line } from './svg.js';
import { showNumber } from './text.js';

export interface Scale {
  (value: number): number;
  readonly low: number;
  readonly high: number;
  readonly from: number;
  readonly to: number;
}

/** Maps [low, high] to [from, to]; an empty domain is widened. */
export function createScale(low: number, high: number, from: number, to: number): Scale {
  const top = high > low ? high : low + 1;
  const map = (value: number): number => from + ((value - low) / (top - low)) * (to - from);
  return Object.assign(map, { low, high: top, from, to });
}

/** Round numbers in [low, high]: steps of 1, 2 or 5 times a power of ten, about `count` of them; counts have a least step of 1. */
export function findTicks(low: number, high: number, count: number, leastStep = 0): { values: number[]; decimals: number } {
  const raw = (high - low) / Math.max(1, count);
  const power = 10 ** Math.floor(Math.log10(raw));
  const step = Math.max(leastStep, [1, 2, 5, 10].map((m) => m * power).find((s) => s >= raw * 0.999) ?? 10 * power);
  const values: number[] = [];
  for (let k = Math.ceil(low / step - 1e-9); k * step <= high + step * 1e-9; k++) values.push(k * step);
  return { values, decimals: Math.max(0, -Math.floor(Math.log10(step) + 1e-9)) };
}

/** Widens a range of data to round numbers. */
export function roundOut(low: number, high: number, count = 5): [number, number] {
  if (!(high > low)) return [low - 0.5, low + 0.5];
  const raw = (high - low) / count;
  const power = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 5, 10].map((m) => m * power).find((s) => s >= raw * 0.999) ?? 10 * power;
  return [Math.floor(low / step + 1e-9) * step, Math.ceil(high / step - 1e-9) * step];
}

interface AxisOptions { title: string; ticks?: number; format?: (value: number) => string; gridTo?: number; at?: readonly number[]; leastStep?: number }

/** Axis below: ticks, numbers, title at the right end, and a grid up to `gridTo`. */
export function drawBottomAxis(scale: Scale, y: number, options: AxisOptions): string {
  const { values, show } = listTicks(scale, options);
  const parts = values.map((v) => {
    const x = scale(v);
    const grid = options.gridTo === undefined ? '' : line(x, options.gridTo, x, y, 'grid');
    return `${grid}${line(x, y, x, y + 4, 'axis')}${label(show(v), { class: 'num', x, y: y + 17, 'text-anchor': 'middle' })}`;
  });
  const title = label(options.title, { class: 'axis-title', x: scale.to, y: y + 35, 'text-anchor': 'end' });
  return `<g>${parts.join('')}${line(scale.from, y, scale.to, y, 'axis')}${title}</g>`;
}

/** Axis at the left: ticks, numbers, title above, and a grid to the right. */
export function drawLeftAxis(scale: Scale, x: number, options: AxisOptions): string {
  const { values, show } = listTicks(scale, options);
  const parts = values.map((v) => {
    const y = scale(v);
    const grid = options.gridTo === undefined ? '' : line(x, y, options.gridTo, y, 'grid');
    return `${grid}${label(show(v), { class: 'num', x: x - 7, y: y + 4, 'text-anchor': 'end' })}`;
  });
  const title = options.title ? label(options.title, { class: 'axis-title', x: Math.max(2, x - 34), y: Math.min(scale.from, scale.to) - 12 }) : '';
  return `<g>${parts.join('')}${line(x, scale.from, x, scale.to, 'axis')}${title}</g>`;
}

function listTicks(scale: Scale, { ticks = 6, format, at, leastStep }: AxisOptions): { values: readonly number[]; show: (value: number) => string } {
  const found = findTicks(scale.low, scale.high, ticks, leastStep);
  return { values: at ?? found.values, show: format ?? ((v) => showNumber(v, found.decimals)) };
}

/** Ticks of a time axis at round seconds, minutes or hours, with labels that say the unit. */
export function findTimeTicks(startSec: number, endSec: number, most: number): { values: number[]; format: (sec: number) => string; unit: string } {
  const steps = [0.1, 0.2, 0.5, 1, 2, 5, 10, 30, 60, 120, 300, 600, 1800, 3600, 7200, 14400, 21600, 43200, 86400, 172800, 432000];
  const step = steps.find((s) => (endSec - startSec) / s <= most) ?? Math.ceil((endSec - startSec) / most / 86400) * 86400;
  const values: number[] = [];
  for (let k = Math.ceil(startSec / step - 1e-9); k * step <= endSec + 1e-9; k++) values.push(k * step);
  const isLong = endSec - startSec > 86400 * 2;
  const isHours = endSec - startSec > 7200;
  const unit = isLong ? 'days' : isHours ? 'hours' : 's';
  const per = isLong ? 86400 : isHours ? 3600 : 1;
  const decimals = step / per >= 1 || Number.isInteger(step / per) ? 0 : step / per >= 0.1 ? 1 : 2;
  return { values, unit, format: (sec) => showNumber(sec / per, decimals) };
}
