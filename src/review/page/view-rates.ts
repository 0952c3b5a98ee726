import { nameBird } from './actions.js';
import type { App } from './app.js';
import { drawChart, readRows, showTable, toNumber } from './charts.js';
import type { TextRow } from './charts.js';
import { h } from './dom.js';

const DAY_SEC = 86400;
/** What is asked first stands first. */
const ORDER = ['rates.csv', 'rates-by-day.csv', 'rates-by-hour.csv', 'bouts.csv'];

/** Events per usable hour, by bird, day and hour of the day, from the tables of rates. */
export async function buildRates(app: App): Promise<HTMLElement> {
  const { source } = app.state;
  const names = ORDER.filter((n) => source.tables.includes(n)).concat(source.tables.filter((n) => /^rates[\w-]*\.csv$/.test(n) && !ORDER.includes(n)));
  const parts: Node[] = [];
  for (const name of names) {
    const { columns, rows } = readRows(await source.readTable(name), name);
    parts.push(h('h3', {}, titleOf(name)), ...drawRates(app, name, rows), showTable(name, columns, rows, (row) => linkRow(app, row)));
  }
  return h('div', { class: 'page wide', tabIndex: 0, role: 'region', 'aria-label': 'Rates' }, h('h2', {}, 'Rates'), h('p', { class: 'soft' }, 'Calls per usable hour with 95 % intervals. A point leads to the calls behind it; hollow: less than half of the usable time that the bird had on its best day.'), ...parts);
}

function titleOf(name: string): string {
  return { 'rates.csv': 'Every bird', 'rates-by-hour.csv': 'By hour of the day', 'rates-by-day.csv': 'By day', 'bouts.csv': 'Song bouts' }[name] ?? name;
}

function drawRates(app: App, name: string, rows: TextRow[]): HTMLElement[] {
  const key = name === 'rates-by-hour.csv' ? 'hour' : name === 'rates-by-day.csv' ? 'day' : undefined;
  const calls = rows.filter((r) => r.what === 'calls');
  const interval = (r: TextRow): { low: number; high: number } => (Number.isFinite(toNumber(r.quasi_low)) ? { low: toNumber(r.quasi_low), high: toNumber(r.quasi_high) } : { low: toNumber(r.low), high: toNumber(r.high) });
  if (name === 'rates.csv') {
    const named = calls.filter((r) => r.bird !== '');
    const points = named.map((r, k) => ({ x: k, y: toNumber(r.per_hour), ...interval(r), says: `${r.bird}: ${r.per_hour} per hour`, run: () => app.showCalls({ bird: r.bird }) }));
    return points.length ? [h('figure', {}, drawChart({ name: 'every bird', points }, { ...RATE, isLoose: true, xTitle: 'bird', width: 900, height: 220, marksX: () => named.map((_, k) => k), formatX: (x) => shorten(named[x].bird, named.length) }))] : [];
  }
  if (!key) return [];
  return [h('div', { class: 'charts' }, ...[...new Set(calls.map((r) => r.bird))].map((bird) => {
    const own = calls.filter((r) => r.bird === bird);
    const most = own.reduce((m, r) => Math.max(m, toNumber(r.usable_s) || 0), 0);
    const points = own.map((r) => ({ isFaint: key === 'day' && toNumber(r.usable_s) < most / 2, x: toNumber(r[key]), y: toNumber(r.per_hour), ...interval(r), says: `${bird || 'all birds'}, ${key} ${r[key]}: ${r.per_hour} per hour`, run: () => linkRow(app, r)?.run() }));
    return h('figure', {}, h('figcaption', {}, bird ? nameBird(bird) : 'all birds'), drawChart({ name: bird || 'all birds', points }, { ...RATE, xTitle: key === 'day' ? 'day of the study' : 'hour of the day' }));
  }))];
}

const RATE = { yTitle: 'calls per usable hour', zero: true } as const;

/** Names of many birds have little room under an axis. */
function shorten(name: string, count: number): string {
  const most = Math.max(5, Math.floor(110 / count));
  return name.length > most ? `${name.slice(0, most - 1)}…` : name;
}

/** The calls that a row was counted from, as far as its columns tell. */
function linkRow(app: App, row: TextRow): { text: string; run: () => void } | undefined {
  const bird = row.bird || undefined;
  if (row.onset_s && row.offset_s) return { text: 'show', run: () => app.showMoment((toNumber(row.onset_s) + toNumber(row.offset_s)) / 2, Math.max(4, 1.4 * (toNumber(row.offset_s) - toNumber(row.onset_s)))) };
  if (!row.day) return { text: 'calls', run: () => app.showCalls({ bird }) };
  const { start } = app.state.source.info;
  const shift = start ? (Date.parse(start) / 1000) % DAY_SEC : 0;
  const fromSec = Math.max(0, (toNumber(row.day) - 1) * DAY_SEC - shift);
  return { text: 'calls', run: () => app.showCalls({ bird, fromSec, toSec: toNumber(row.day) * DAY_SEC - shift }) };
}
