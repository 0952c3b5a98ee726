import { readCsv } from '../../table/csv-text.js';
import { h, svg } from './dom.js';

export type TextRow = Record<string, string>;

/** Rows of a table that another command wrote, as text by column. */
export function readRows(text: string, name: string): { columns: string[]; rows: TextRow[] } {
  const { columns, rows } = readCsv(text, name, 'bad-table', []);
  return { columns, rows: rows.map((r) => r.values) };
}

/** A number of a table; NaN where the field is empty. */
export const toNumber = (text: string | undefined): number => (text === undefined || text === '' ? NaN : Number(text));

export interface Point { x: number; y: number; low?: number; high?: number; says: string; run?: () => void; /** Drawn hollow: it rests on little. */ isFaint?: boolean }
export interface Series { name: string; points: Point[] }
export interface ChartOptions {
  xTitle: string;
  yTitle: string;
  formatX?: (x: number) => string;
  formatY?: (y: number) => string;
  /** Where the axis is labelled; round numbers where not given. */
  marksX?: (low: number, high: number) => number[];
  zero?: boolean;
  /** Points of things that have no order, such as birds. */
  isLoose?: boolean;
  width?: number;
  height?: number;
}

/** Of one chart among others in a grid; drawn at about this size, so that letters keep theirs. */
const WIDTH = 440;
const LEFT = 48;
const HEAD = 24;
const FOOT = 40;

/** Points with their intervals, joined by a line; each point is a button where it leads somewhere. */
export function drawChart(series: Series, options: ChartOptions): SVGElement {
  const height = options.height ?? 170;
  const width = options.width ?? WIDTH;
  const points = series.points.filter((p) => Number.isFinite(p.x) && Number.isFinite(p.y));
  const [firstX, lastX] = spread(points.map((p) => p.x), 0.02);
  const ys = points.flatMap((p) => [p.y, p.low ?? p.y, p.high ?? p.y]).filter(Number.isFinite);
  const [low, high] = spread(options.zero ? [...ys, 0] : ys, 0.08);
  const toX = (x: number): number => LEFT + ((x - firstX) / (lastX - firstX)) * (width - LEFT - 8);
  const toY = (y: number): number => HEAD + ((high - y) / (high - low)) * (height - FOOT - HEAD);
  const chart = svg('svg', { class: 'chart', viewBox: `0 0 ${width} ${height}`, role: 'group', 'aria-label': `${series.name}: ${options.yTitle} by ${options.xTitle}` });
  const marks = niceMarks(low, high, 4);
  const formatY = options.formatY ?? ((y: number): string => trimMark(y, marks[1] - marks[0]));
  for (const y of marks) {
    chart.append(svg('line', { class: options.zero && y === 0 ? 'grid zero' : 'grid', x1: LEFT, x2: width - 8, y1: toY(y), y2: toY(y) }), svg('text', { x: LEFT - 6, y: toY(y) + 4, 'text-anchor': 'end' }, formatY(y)));
  }
  for (const x of (options.marksX ?? wholeMarks)(firstX, lastX)) chart.append(svg('text', { x: toX(x), y: height - FOOT + 18, 'text-anchor': 'middle' }, (options.formatX ?? trim)(x)));
  chart.append(svg('text', { class: 'axis', x: width - 8, y: height - 4, 'text-anchor': 'end' }, options.xTitle), svg('text', { class: 'axis', x: 2, y: 13 }, options.yTitle));
  const line = points.map((p, k) => `${k ? 'L' : 'M'}${toX(p.x).toFixed(1)} ${toY(p.y).toFixed(1)}`).join('');
  if (points.length > 1 && !options.isLoose) chart.append(svg('path', { class: 'line', d: line }));
  for (const p of points) {
    if (p.low !== undefined && p.high !== undefined && Number.isFinite(p.low) && Number.isFinite(p.high)) chart.append(svg('line', { class: 'line', x1: toX(p.x), x2: toX(p.x), y1: toY(p.low), y2: toY(p.high) }));
    const dot = svg('circle', { class: p.isFaint ? 'dot faint' : 'dot', cx: toX(p.x), cy: toY(p.y), r: points.length > 80 ? 2 : 4 }, svg('title', {}, p.says));
    if (p.run) makeButton(dot, p.says, p.run);
    chart.append(dot);
  }
  return chart;
}

/** A mark that can be pressed with pointer and keyboard. */
export function makeButton(mark: SVGElement, says: string, run: () => void): void {
  mark.setAttribute('role', 'button');
  mark.setAttribute('tabindex', '0');
  mark.setAttribute('aria-label', says);
  mark.addEventListener('click', run);
  mark.addEventListener('keydown', (e) => { if (e.key === 'Enter' || e.key === ' ') { e.preventDefault(); run(); } });
}

function spread(values: number[], air: number): [number, number] {
  const low = values.reduce((m, v) => Math.min(m, v), Infinity);
  const high = values.reduce((m, v) => Math.max(m, v), -Infinity);
  if (!(high >= low)) return [0, 1];
  const room = (high - low || Math.abs(high) || 1) * air;
  return [low - room, high + room];
}

/** Days, hours of the day: no mark between whole numbers. */
function wholeMarks(low: number, high: number): number[] {
  return niceMarks(low, high, 6, 1);
}

const DAY_SEC = 86400;
const TIME_STEPS = [1, 2, 5, 10, 30, 60, 120, 300, 600, 1800, 3600, 7200, 21600, 43200, DAY_SEC, 2 * DAY_SEC, 5 * DAY_SEC, 10 * DAY_SEC];

/** Round times between two limits, seconds: at most about ten. */
export function timeMarks(low: number, high: number): number[] {
  const step = TIME_STEPS.find((s) => (high - low) / s <= 10) ?? 20 * DAY_SEC;
  return niceMarks(Math.max(0, low), high, 0, step);
}

/** Fewer marks than these do not make a scale. */
const LEAST_MARKS = 3;

/** Round numbers between two limits: about as many as wanted and not less than three, or with a step that is at least (with 0 wanted: exactly) `leastStep`. */
export function niceMarks(low: number, high: number, count: number, leastStep = 0): number[] {
  if (count === 0) return listMultiples(low, high, leastStep);
  const rough = Math.max(leastStep, (high - low) / count);
  let k = 3 * Math.floor(Math.log10(rough));
  while (roundStep(k) < rough) k++;
  while (listMultiples(low, high, roundStep(k)).length < LEAST_MARKS && high > low && roundStep(k - 1) >= leastStep) k--;
  return listMultiples(low, high, roundStep(k));
}

/** 1, 2, 5, 10, 20 and so on for k = 0, 1, 2, 3, 4, likewise below. */
function roundStep(k: number): number {
  const decade = Math.floor(k / 3);
  return [1, 2, 5][k - 3 * decade] * 10 ** decade;
}

function listMultiples(low: number, high: number, step: number): number[] {
  const marks: number[] = [];
  for (let k = Math.ceil(low / step); k * step <= high; k++) marks.push(k * step);
  return marks;
}

export function trim(value: number): string {
  return Number.isFinite(value) ? String(Number(value.toPrecision(3))) : '–';
}

/** A mark with the decimals that tell it from the next one. */
export function trimMark(value: number, step: number): string {
  const decimals = Math.max(0, Math.min(20, Math.ceil(-Math.log10(step) - 1e-9)));
  return String(Number(value.toFixed(decimals)));
}

/** A table as it stands in the file, the first `most` rows. */
export function showTable(name: string, columns: readonly string[], rows: readonly TextRow[], link?: (row: TextRow) => { text: string; run: () => void } | undefined, most = 300): HTMLElement {
  const isNumber = columns.map((c) => rows.every((r) => r[c] === '' || Number.isFinite(Number(r[c]))));
  const head = h('tr', {}, ...(link ? [h('th', { scope: 'col', class: 'left' }, 'calls')] : []), ...columns.map((c, k) => h('th', { scope: 'col', class: isNumber[k] ? '' : 'left' }, c)));
  const body = rows.slice(0, most).map((row) => {
    const found = link?.(row);
    return h('tr', {}, ...(link ? [h('td', { class: 'left' }, found ? h('button', { class: 'link', onclick: found.run }, found.text) : '')] : []),
      ...columns.map((c, k) => h('td', { class: isNumber[k] ? '' : 'left' }, isNumber[k] && row[c] !== '' && !Number.isInteger(Number(row[c])) ? trim(Number(row[c])) : row[c])));
  });
  return h('details', {}, h('summary', {}, `${name}: ${rows.length} rows${rows.length > most ? `, the first ${most} shown` : ''}`), h('div', { class: 'scroll', tabIndex: 0, role: 'region', 'aria-label': name }, h('table', { class: 'data' }, h('thead', {}, head), h('tbody', {}, ...body))));
}
