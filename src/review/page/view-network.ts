import { nameBird } from './actions.js';
import type { App } from './app.js';
import { makeButton, readRows, showTable, toNumber, trim } from './charts.js';
import type { TextRow } from './charts.js';
import { h, svg } from './dom.js';

const CELL = 50;
/** Names longer than this are cut; their cells say them in full. */
const LONGEST = 12;
const MOST_LISTED = 60;

/** Who replies to whom: a grid of callers and repliers, and the tables behind it. */
export async function buildNetwork(app: App): Promise<HTMLElement> {
  const { source } = app.state;
  const { columns, rows } = readRows(await source.readTable('network.csv'), 'network.csv');
  const more: HTMLElement[] = [];
  for (const name of source.tables.filter((n) => /^network-[\w-]+\.csv$/.test(n))) {
    const table = readRows(await source.readTable(name), name);
    more.push(showTable(name, table.columns, table.rows));
  }
  const behind = (r: TextRow): (() => void) => () => app.showCalls({ bird: r.caller, replier: r.replier });
  return h('div', { class: 'page wide', tabIndex: 0, role: 'region', 'aria-label': 'Network' }, h('h2', {}, 'Calls and replies'),
    h('p', { class: 'soft' }, 'How much more often a bird calls right after another than their rates alone would give: calls with a reply less those by chance, %. Ringed: tests confirm a reply; dashed ring: more than chance, but it may be indirect or have a common cause. A cell leads to the calls behind it.'),
    h('div', { class: 'sides' }, h('figure', {}, drawGrid(rows, behind)), listEdges(rows, behind)), showTable('network.csv', columns, rows, (r) => ({ text: 'calls', run: behind(r) })), ...more);
}

/** Pairs that stand out, the strongest first. */
function listEdges(rows: TextRow[], behind: (row: TextRow) => () => void): HTMLElement {
  const told = rows.filter((r) => r.edge !== 'none').sort((a, b) => toNumber(b.excess) - toNumber(a.excess)).slice(0, MOST_LISTED);
  if (!told.length) return h('p', {}, 'No pair of birds stands out from chance.');
  const percent = (text: string | undefined): string => (Number.isFinite(toNumber(text)) ? (100 * toNumber(text)).toFixed(1) : '–');
  const ms = (text: string | undefined): string => (Number.isFinite(toNumber(text)) ? (1000 * toNumber(text)).toFixed(0) : '–');
  const says = (r: TextRow): string => ({ reply: 'reply', pairwise: r.through ? `may be indirect through ${r.through}` : 'not confirmed', fewer: 'fewer than chance' }[r.edge] ?? r.edge);
  const body = told.map((r) => h('tr', {}, h('th', { scope: 'row', class: 'left' }, h('button', { class: 'link', onclick: behind(r) }, `${r.caller} → ${r.replier}`)), h('td', { class: 'left' }, says(r)),
    ...[percent(r.excess), `${percent(r.excess_low)} to ${percent(r.excess_high)}`, ms(r.latency_median_s)].map((t) => h('td', {}, t))));
  const head = ['caller → replier', 'what', 'excess, %', '95 % interval', 'latency, ms'].map((t, k) => h('th', { scope: 'col', class: k < 2 ? 'left' : '' }, t));
  return h('div', { class: 'scroll', tabIndex: 0, role: 'region', 'aria-label': 'Pairs that stand out' }, h('table', { class: 'data' }, h('thead', {}, h('tr', {}, ...head)), h('tbody', {}, ...body)));
}

function drawGrid(rows: TextRow[], behind: (row: TextRow) => () => void): SVGElement {
  const birds = [...new Set(rows.flatMap((r) => [r.caller, r.replier]))];
  const names = birds.map((b) => nameBird(b)).map((n) => (n.length > LONGEST ? `${n.slice(0, LONGEST - 1)}…` : n));
  const edge = Math.max(72, 24 + 7.5 * names.reduce((m, n) => Math.max(m, n.length), 0));
  const size = edge + birds.length * CELL;
  const grid = svg('svg', { class: 'chart', viewBox: `0 0 ${size + 20} ${size + 10}`, role: 'group', 'aria-label': 'Callers down, repliers across' });
  // Letters keep their size: many birds scroll.
  grid.style.width = `${size + 20}px`;
  grid.style.maxWidth = '100%';
  grid.append(svg('text', { class: 'axis', x: 0, y: edge - 8 }, 'caller ↓'), svg('text', { class: 'axis', x: edge, y: 14 }, 'replier →'));
  const most = rows.reduce((m, r) => Math.max(m, Math.abs(toNumber(r.excess)) || 0), 1e-9);
  names.forEach((name, k) => {
    grid.append(svg('text', { x: edge - 8, y: edge + (k + 0.6) * CELL, 'text-anchor': 'end' }, name), svg('text', { x: edge + (k + 0.5) * CELL, y: edge - 10, transform: `rotate(-35 ${edge + (k + 0.5) * CELL} ${edge - 10})` }, name));
  });
  for (const row of rows) {
    const [c, r] = [birds.indexOf(row.replier), birds.indexOf(row.caller)];
    const excess = toNumber(row.excess);
    const says = `${row.caller}, then ${row.replier}: excess ${trim(excess)}, ${row.edge}${row.through ? `, may be indirect through ${row.through}` : ''}`;
    const cell = svg('rect', { x: edge + c * CELL + 1.5, y: edge + r * CELL + 1.5, width: CELL - 3, height: CELL - 3, rx: 4, class: `cell ${row.edge === 'reply' ? 'sure' : row.edge === 'pairwise' ? 'maybe' : ''} ${excess < 0 ? 'fewer' : ''}` }, svg('title', {}, says));
    // At most half covered: letters over it keep their contrast in light and dark.
    cell.style.fillOpacity = String(Number.isFinite(excess) ? 0.05 + (0.45 * Math.abs(excess)) / most : 0);
    makeButton(cell, says, behind(row));
    grid.append(cell);
    if (row.edge !== 'none' && Number.isFinite(excess)) grid.append(svg('text', { class: 'value', x: edge + (c + 0.5) * CELL, y: edge + (r + 0.5) * CELL + 4.5, 'text-anchor': 'middle', 'aria-hidden': 'true' }, (100 * excess).toFixed(Math.abs(excess) < 0.1 ? 1 : 0)));
  }
  return grid;
}
