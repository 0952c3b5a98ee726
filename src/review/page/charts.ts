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

export interface Point { x: number; y: number; low?: number; high?: number; says: string; run?: () => void }
export interface Series { name: string; points: Point[] }
export interface ChartOptions { xTitle: string; yTitle: string; formatX: (x: number) => string; formatY?: (y: number) => string; zero?: boolean; height?: number }

const WIDTH = 720;
const LEFT = 62;
const FOOT = 38;

/** Points with their intervals, joined by a line; each point is a button where it leads somewhere. */
export function drawChart(series: Series, options: ChartOptions): SVGElement {
  const height = options.height ?? 190;
  const points = series.points.filter((p) => Number.isFinite(p.x) && Number.isFinite(p.y));
  const [firstX, lastX] = spread(points.map((p) => p.x), 0.02);
  const ys = points.flatMap((p) => [p.y, p.low ?? p.y, p.high ?? p.y]).filter(Number.isFinite);
  const [low, high] = spread(options.zero ? [...ys, 0] : ys, 0.08);
  const toX = (x: number): number => LEFT + ((x - firstX) / (lastX - firstX)) * (WIDTH - LEFT - 8);
  const toY = (y: number): number => 8 + ((high - y) / (high - low)) * (height - FOOT - 8);
  const chart = svg('svg', { class: 'chart', viewBox: `0 0 ${WIDTH} ${height}`, role: 'group', 'aria-label': `${series.name}: ${options.yTitle} by ${options.xTitle}` });
  for (const y of niceMarks(low, high, 4)) {
    chart.append(svg('line', { class: 'grid', x1: LEFT, x2: WIDTH - 8, y1: toY(y), y2: toY(y) }), svg('text', { x: LEFT - 6, y: toY(y) + 4, 'text-anchor': 'end' }, (options.formatY ?? trim)(y)));
  }
  for (const x of niceMarks(firstX, lastX, 6)) chart.append(svg('text', { x: toX(x), y: height - FOOT + 18, 'text-anchor': 'middle' }, options.formatX(x)));
  chart.append(svg('text', { x: WIDTH - 8, y: height - 4, 'text-anchor': 'end' }, options.xTitle), svg('text', { x: 4, y: height - 4 }, options.yTitle));
  const line = points.map((p, k) => `${k ? 'L' : 'M'}${toX(p.x).toFixed(1)} ${toY(p.y).toFixed(1)}`).join('');
  if (points.length > 1) chart.append(svg('path', { class: 'line', d: line }));
  for (const p of points) {
    if (p.low !== undefined && p.high !== undefined && Number.isFinite(p.low) && Number.isFinite(p.high)) chart.append(svg('line', { class: 'line', x1: toX(p.x), x2: toX(p.x), y1: toY(p.low), y2: toY(p.high) }));
    const dot = svg('circle', { class: 'dot', cx: toX(p.x), cy: toY(p.y), r: points.length > 80 ? 2 : 4 }, svg('title', {}, p.says));
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

/** Round numbers between two limits, about as many as wanted. */
export function niceMarks(low: number, high: number, count: number): number[] {
  const rough = (high - low) / count;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((f) => f * power).find((s) => s >= rough) ?? rough;
  const marks: number[] = [];
  for (let k = Math.ceil(low / step); k * step <= high; k++) marks.push(k * step);
  return marks;
}

export function trim(value: number): string {
  return Number.isFinite(value) ? String(Number(value.toPrecision(3))) : '–';
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
