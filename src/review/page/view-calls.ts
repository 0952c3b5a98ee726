import { nameBird } from './actions.js';
import type { App } from './app.js';
import { fill, h } from './dom.js';
import type { Item } from './review-state.js';
import { formatClock, formatDuration, formatShare } from './time-text.js';

/** Which calls to list; everything that is not named counts. */
export interface CallFilter {
  bird?: string;
  fromSec?: number;
  toSec?: number;
  /** Only calls that a call of this bird follows within REPLY_SEC. */
  replier?: string;
  order?: 'time' | 'doubt';
}

/** Calls that follow one another this closely are shown as call and reply. */
export const REPLY_SEC = 0.5;
const PAGE = 200;

/** The calls behind a number: a list that leads to each of them. */
export function buildCalls(app: App): HTMLElement {
  const { info } = app.state.source;
  const filter = app.callFilter;
  const found = findCalls(app.state.items, filter);
  const list = h('div', { class: 'scroll' });
  const choose = (part: CallFilter): void => app.showCalls({ ...filter, ...part });
  const birds = ['', ...info.tracks.map((t) => t.bird), 'none'];
  const bird = h('select', { id: 'filter-bird', onchange: () => choose({ bird: bird.value || undefined, replier: undefined }) }, ...birds.map((b) => h('option', { value: b, selected: b === (filter.bird ?? '') }, b === '' ? 'all birds' : nameBird(b))));
  const order = h('select', { id: 'filter-order', onchange: () => choose({ order: order.value as CallFilter['order'] }) }, ...(['time', 'doubt'] as const).map((o) => h('option', { value: o, selected: o === (filter.order ?? 'time') }, o === 'time' ? 'by time' : 'least sure first')));
  const says = [`${found.length} calls`, filter.replier ? `followed by ${nameBird(filter.replier)} within ${REPLY_SEC} s` : '', filter.fromSec === undefined ? '' : `from ${formatClock(filter.fromSec)} to ${formatClock(filter.toSec ?? info.durationSec)}`];
  let from = 0;
  const show = (): void => {
    const part = found.slice(from, from + PAGE);
    fill(list, buildTable(app, part), found.length > PAGE ? h('p', {}, h('button', { disabled: from === 0, onclick: () => { from -= PAGE; show(); } }, 'Before'), ` ${from + 1} to ${from + part.length} of ${found.length} `, h('button', { disabled: from + PAGE >= found.length, onclick: () => { from += PAGE; show(); } }, 'After')) : null);
  };
  show();
  return h('div', { class: 'page', tabIndex: 0, role: 'region', 'aria-label': 'Calls' },
    h('h2', {}, filter.bird ? nameBird(filter.bird) : 'Calls'), h('p', { class: 'soft' }, says.filter(Boolean).join(', '), '. Choose one to see and hear it.'),
    h('p', {}, h('label', { for: 'filter-bird' }, 'bird '), bird, ' ', h('label', { for: 'filter-order' }, ' order '), order, ' ', h('button', { onclick: () => app.showCalls({}) }, 'All calls')), list);
}

function findCalls(items: readonly Item[], filter: CallFilter): Item[] {
  const found = items.filter((item, i) => (filter.bird === undefined || item.bird === filter.bird) && item.status !== 'rejected'
    && item.onsetSec >= (filter.fromSec ?? -Infinity) && item.onsetSec < (filter.toSec ?? Infinity) && (filter.replier === undefined || isAnswered(items, i, filter.replier)));
  return filter.order === 'doubt' ? found.sort((a, b) => a.probability - b.probability || a.onsetSec - b.onsetSec) : found;
}

function isAnswered(items: readonly Item[], i: number, replier: string): boolean {
  for (let k = i + 1; k < items.length && items[k].onsetSec - items[i].onsetSec <= REPLY_SEC; k++) if (items[k].bird === replier && items[k].status !== 'rejected') return true;
  return false;
}

function buildTable(app: App, items: readonly Item[]): HTMLElement {
  const head = ['onset', 'bird', 'length', 'probability', 'next', 'heard'].map((t, k) => h('th', { scope: 'col', class: k < 2 || k > 3 ? 'left' : '' }, t));
  const rows = items.map((item) => h('tr', {},
    h('th', { scope: 'row', class: 'left' }, h('button', { class: 'link', onclick: () => app.showCall(item) }, formatClock(item.onsetSec, 3))),
    h('td', { class: 'left' }, nameBird(item.bird)), h('td', {}, formatDuration(item.offsetSec - item.onsetSec)), h('td', {}, item.row ? formatShare(item.probability, 3) : '–'),
    h('td', { class: 'left' }, item.row?.runnerUp ? `${nameBird(item.row.runnerUp)} ${formatShare(item.row.runnerUpProbability)}` : ''), h('td', { class: 'left' }, item.status === 'unheard' ? '' : item.status)));
  return h('table', { class: 'data' }, h('thead', {}, h('tr', {}, ...head)), h('tbody', {}, ...rows));
}
