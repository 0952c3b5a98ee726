import { nameBird } from './actions.js';
import type { App } from './app.js';
import { makeButton, readRows, showTable, toNumber, trim } from './charts.js';
import type { TextRow } from './charts.js';
import { h, svg } from './dom.js';

const CELL = 46;
const EDGE = 96;

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
  return h('div', { class: 'page', tabIndex: 0, role: 'region', 'aria-label': 'Network' }, h('h2', {}, 'Calls and replies'),
    h('p', { class: 'soft' }, 'How much more often a bird calls right after another than their rates alone would give; ringed where tests confirm a reply. A cell leads to the calls behind it.'),
    h('figure', {}, drawGrid(rows, behind)), showTable('network.csv', columns, rows, (r) => ({ text: 'calls', run: behind(r) })), ...more);
}

function drawGrid(rows: TextRow[], behind: (row: TextRow) => () => void): SVGElement {
  const birds = [...new Set(rows.flatMap((r) => [r.caller, r.replier]))];
  const size = EDGE + birds.length * CELL;
  const grid = svg('svg', { class: 'chart', viewBox: `0 0 ${size + 20} ${size + 10}`, role: 'group', 'aria-label': 'Callers down, repliers across' });
  grid.style.maxWidth = `${size + 20}px`;
  const most = rows.reduce((m, r) => Math.max(m, Math.abs(toNumber(r.excess)) || 0), 1e-9);
  birds.forEach((bird, k) => {
    grid.append(svg('text', { x: EDGE - 8, y: EDGE + (k + 0.6) * CELL, 'text-anchor': 'end' }, nameBird(bird)), svg('text', { x: EDGE + (k + 0.5) * CELL, y: EDGE - 10, transform: `rotate(-35 ${EDGE + (k + 0.5) * CELL} ${EDGE - 10})` }, nameBird(bird)));
  });
  for (const row of rows) {
    const [c, r] = [birds.indexOf(row.replier), birds.indexOf(row.caller)];
    const excess = toNumber(row.excess);
    const says = `${row.caller}, then ${row.replier}: excess ${trim(excess)}, ${row.edge}${row.through ? `, may be indirect through ${row.through}` : ''}`;
    const cell = svg('rect', { x: EDGE + c * CELL + 1.5, y: EDGE + r * CELL + 1.5, width: CELL - 3, height: CELL - 3, rx: 4, class: `cell ${row.edge === 'reply' ? 'sure' : ''} ${excess < 0 ? 'fewer' : ''}` }, svg('title', {}, says));
    cell.style.fillOpacity = String(Number.isFinite(excess) ? 0.06 + (0.94 * Math.abs(excess)) / most : 0);
    makeButton(cell, says, behind(row));
    grid.append(cell);
  }
  return grid;
}
