import { nameBird } from './actions.js';
import type { App } from './app.js';
import { h } from './dom.js';
import { formatClock, formatDuration } from './time-text.js';

const DAY_SEC = 86400;
const ROW_PX = 20;
/** Widths of a cell that divide a day. */
const CELLS_SEC = [1, 2, 5, 10, 30, 60, 300, 600, 900];

/** Days of the study: calls of every bird over time, and how much of the time could be used. */
export function buildDays(app: App): HTMLElement {
  const { info, hours } = app.state.source;
  const birds = [...info.tracks.map((t) => t.bird), 'none'];
  const live = app.state.items.filter((i) => i.status !== 'rejected');
  const rows = birds.map((bird) => {
    const own = live.filter((i) => i.bird === bird);
    const usable = hours.filter((r) => r.track === bird).reduce((s, r) => s + r.usableSec, 0);
    const sure = own.reduce((s, i) => s + (i.status === 'unheard' ? i.probability : 1), 0);
    return h('tr', {}, h('th', { scope: 'row', class: 'left' }, h('button', { class: 'link', onclick: () => app.showCalls({ bird }) }, nameBird(bird))),
      ...[String(own.length), sure.toFixed(0), String(own.filter((i) => i.status !== 'unheard').length), bird === 'none' ? '–' : formatDuration(usable), usable > 0 ? ((3600 * own.length) / usable).toFixed(0) : '–'].map((t) => h('td', {}, t)));
  });
  const head = ['bird', 'calls', 'expected right', 'heard', 'usable', 'per usable hour'].map((t, k) => h('th', { scope: 'col', class: k ? '' : 'left' }, t));
  const dayCount = Math.max(1, Math.ceil((info.durationSec + startOfDay(info.start)) / DAY_SEC));
  const spans = dayCount === 1 ? [[0, info.durationSec]] : Array.from({ length: dayCount }, (_, d) => [d * DAY_SEC - startOfDay(info.start), DAY_SEC]);
  const counted = spans.map(([fromSec, lengthSec]) => countDay(app, birds, fromSec, lengthSec));
  // One scale for all days, so that they can be compared.
  const most = counted.reduce((m, day) => day.counts.reduce((n, v) => Math.max(n, v), m), 1);
  const days = counted.map((day) => dayCanvas(app, birds, day, most));
  return h('div', { class: 'page wide', tabIndex: 0, role: 'region', 'aria-label': 'Days' },
    h('h2', {}, dayCount > 1 ? `${dayCount} calendar days` : 'The whole study'),
    h('p', { class: 'soft' }, `The stronger the colour, the more calls${dayCount > 1 ? ', the same on all days' : ''} (strongest: ${most} in ${formatDuration(counted[0].cellSec)}); hatched: time that cannot be used. Click, or arrow keys and Enter, to go there.`),
    h('div', { class: `charts days${dayCount > 1 ? '' : ' single'}` }, ...days), h('h3', {}, 'Birds'), h('div', { class: 'scroll' }, h('table', { class: 'data' }, h('thead', {}, h('tr', {}, ...head)), h('tbody', {}, ...rows))));
}

function startOfDay(start: string | undefined): number {
  return start ? (Date.parse(start) / 1000) % DAY_SEC : 0;
}

interface CountedDay { fromSec: number; cellSec: number; cells: number; counts: Float32Array }

function countDay(app: App, birds: string[], fromSec: number, lengthSec: number): CountedDay {
  const cellSec = CELLS_SEC.find((s) => lengthSec / s <= 160) ?? 900;
  const cells = Math.ceil(lengthSec / cellSec);
  return { fromSec, cellSec, cells, counts: countCalls(app, birds, fromSec, cellSec, cells) };
}

function dayCanvas(app: App, birds: string[], day: CountedDay, most: number): HTMLElement {
  const { info } = app.state.source;
  const { fromSec, cellSec, cells, counts } = day;
  const date = info.start ? new Date(Date.parse(info.start) + Math.max(0, fromSec) * 1000).toISOString().slice(0, 10) : '';
  const canvas = h('canvas', { class: 'heat', tabIndex: 0, role: 'application' });
  let at = { bird: 0, cell: 0 };
  const paint = (): void => paintDay(canvas, app, birds, day, most, document.activeElement === canvas ? at : undefined);
  const describe = (): void => {
    const sec = fromSec + at.cell * cellSec;
    canvas.setAttribute('aria-label', `${nameBird(birds[at.bird])}, ${formatClock(Math.max(0, sec))}: ${counts[at.bird * cells + at.cell]} calls in ${formatDuration(cellSec)}`);
  };
  const go = (): void => app.showMoment(fromSec + (at.cell + 0.5) * cellSec, Math.min(info.durationSec, Math.max(8, Math.min(30, cellSec))));
  canvas.addEventListener('click', (e) => {
    const box = canvas.getBoundingClientRect();
    at = { cell: Math.min(cells - 1, Math.max(0, Math.floor(((e.clientX - box.left - NAME_PX) / (box.width - NAME_PX)) * cells))), bird: Math.min(birds.length - 1, Math.floor((e.clientY - box.top) / ROW_PX)) };
    go();
  });
  canvas.addEventListener('keydown', (e) => {
    const move = { ArrowLeft: [0, -1], ArrowRight: [0, 1], ArrowUp: [-1, 0], ArrowDown: [1, 0] }[e.key];
    if (e.key === 'Enter') go();
    if (!move) return;
    e.preventDefault();
    e.stopPropagation();
    at = { bird: Math.max(0, Math.min(birds.length - 1, at.bird + move[0])), cell: Math.max(0, Math.min(cells - 1, at.cell + move[1])) };
    describe();
    paint();
  });
  canvas.addEventListener('focus', paint);
  canvas.addEventListener('blur', paint);
  describe();
  new ResizeObserver(paint).observe(canvas);
  canvas.style.height = `${birds.length * ROW_PX + 18}px`;
  return h('figure', {}, h('figcaption', {}, [date, `${formatDuration(cellSec)} per cell`].filter(Boolean).join(' · ')), canvas);
}

function countCalls(app: App, birds: string[], fromSec: number, cellSec: number, cells: number): Float32Array {
  const counts = new Float32Array(birds.length * cells);
  const place = new Map(birds.map((b, k) => [b, k]));
  const { items } = app.state;
  for (let i = app.state.firstFrom(fromSec); i < items.length && items[i].onsetSec < fromSec + cells * cellSec; i++) {
    const bird = place.get(items[i].bird);
    if (bird !== undefined && items[i].status !== 'rejected') counts[bird * cells + Math.floor((items[i].onsetSec - fromSec) / cellSec)]++;
  }
  return counts;
}

const NAME_PX = 96;

function paintDay(canvas: HTMLCanvasElement, app: App, birds: string[], { counts, cells, cellSec, fromSec }: CountedDay, most: number, chosen?: { bird: number; cell: number }): void {
  const { theme } = app.stage;
  const { hours, info } = app.state.source;
  const width = canvas.clientWidth;
  const ratio = Math.min(2, devicePixelRatio || 1);
  if (!width) return;
  canvas.width = width * ratio;
  canvas.height = (birds.length * ROW_PX + 18) * ratio;
  const context = canvas.getContext('2d')!;
  context.scale(ratio, ratio);
  const cellPx = (width - NAME_PX) / cells;
  context.font = '12.5px system-ui, sans-serif';
  context.textBaseline = 'middle';
  birds.forEach((bird, k) => {
    const top = k * ROW_PX;
    context.fillStyle = theme.ink;
    context.fillText(nameBird(bird), 0, top + ROW_PX / 2, NAME_PX - 8);
    context.fillStyle = theme.panel;
    context.fillRect(NAME_PX, top + 1, width - NAME_PX, ROW_PX - 2);
    for (let c = 0; c < cells; c++) {
      const count = counts[k * cells + c];
      if (!count) continue;
      context.globalAlpha = 0.18 + 0.82 * Math.sqrt(count / most);
      context.fillStyle = bird === 'none' ? theme.noTag : theme.call;
      context.fillRect(NAME_PX + c * cellPx, top + 1, Math.max(1, cellPx - 0.5), ROW_PX - 2);
    }
    context.globalAlpha = 1;
    for (const hour of hours) if (hour.track === bird) hatchLost(context, hour.startSec, Math.min(3600, info.durationSec - hour.startSec), hour.usableSec, (sec) => NAME_PX + ((sec - fromSec) / cellSec) * cellPx, top, width, theme.soft);
  });
  context.fillStyle = theme.soft;
  const step = Math.max(1, Math.round(cells / 8));
  for (let c = 0; c < cells; c += step) context.fillText(clockOf(fromSec + c * cellSec, info.start), NAME_PX + c * cellPx, birds.length * ROW_PX + 10);
  if (chosen) {
    context.strokeStyle = theme.select;
    context.lineWidth = 2;
    context.strokeRect(NAME_PX + chosen.cell * cellPx - 1, chosen.bird * ROW_PX, Math.max(4, cellPx + 1), ROW_PX);
  }
}

function clockOf(sec: number, start: string | undefined): string {
  return start ? new Date(Date.parse(start) + sec * 1000).toISOString().slice(11, 16) : formatClock(Math.max(0, sec));
}

/** The unusable share of an hour as hatching at its end; where in the hour it lay, the table does not tell. */
function hatchLost(context: CanvasRenderingContext2D, startSec: number, lengthSec: number, usableSec: number, toX: (sec: number) => number, top: number, width: number, colour: string): void {
  const lostShare = 1 - usableSec / lengthSec;
  if (lostShare < 0.01) return;
  const right = Math.min(width, toX(startSec + lengthSec));
  const left = Math.max(NAME_PX, toX(startSec + lengthSec * (1 - lostShare)));
  context.strokeStyle = colour;
  context.lineWidth = 1;
  context.beginPath();
  for (let x = left; x < right; x += 4) {
    context.moveTo(x, top + ROW_PX - 3);
    context.lineTo(Math.min(right, x + 4), top + 3);
  }
  context.stroke();
}
