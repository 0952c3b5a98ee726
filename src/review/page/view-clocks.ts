import type { ClockRow } from '../../schema/rows.js';
import type { App } from './app.js';
import { drawChart, timeMarks, trim } from './charts.js';
import { h } from './dom.js';
import { formatClock } from './time-text.js';

const MOST_POINTS = 400;
const DAY_SEC = 86400;

/** How every recorder's clock ran against the first: offset without its steady part, so that wander shows. */
export function buildClocks(app: App): HTMLElement {
  const { info, clock } = app.state.source;
  const isDays = info.durationSec >= 3 * DAY_SEC;
  const parts = info.recorders.slice(1).flatMap((recorder) => {
    const rows = clock.filter((r) => r.recorder === recorder);
    if (!rows.length) return [h('h3', {}, recorder), h('p', {}, 'The clock table has no row of this recorder.')];
    const { offsetSec, ppm } = fitLine(rows);
    const step = Math.max(1, Math.ceil(rows.length / MOST_POINTS));
    const points = rows.filter((_, k) => k % step === 0).map((r) => {
      const y = 1000 * (r.offsetSec - offsetSec - ppm * 1e-6 * r.tRefSec);
      const u = 1000 * (Number.isFinite(r.uncertaintySec) ? r.uncertaintySec : 0);
      return { x: r.tRefSec, y, low: y - 2 * u, high: y + 2 * u, says: `${formatClock(r.tRefSec)}: offset ${r.offsetSec.toFixed(6)} s ± ${u.toFixed(3)} ms`, run: () => app.showMoment(r.tRefSec) };
    });
    return [
      h('h3', {}, `${recorder} against ${info.recorders[0]}`),
      h('p', {}, `Offset ${offsetSec.toFixed(4)} s at the start, rate ${ppm >= 0 ? '+' : ''}${ppm.toFixed(2)} ppm (${((ppm * 86400) / 1e6).toFixed(2)} s a day). Drawn: what is left when both are taken off, bars of two standard uncertainties.`),
      drawChart({ name: recorder, points }, { xTitle: isDays ? 'days since the start' : 'time since the start', yTitle: 'offset less its steady part, ms', marksX: timeMarks, formatX: (x) => (isDays ? trim(x / DAY_SEC) : formatClock(Math.max(0, x))), width: findWidth(), height: 280 }),
    ];
  });
  return h('div', { class: 'page wide', tabIndex: 0, role: 'region', 'aria-label': 'Clocks' }, h('h2', {}, 'Clocks'), h('p', { class: 'soft' }, 'Found from the crosstalk between recorders. A point leads to that moment.'), ...wrap(parts));
}

/** As wide as the page, so that letters keep their size. */
function findWidth(): number {
  return Math.max(560, Math.min(1940, document.documentElement.clientWidth - 76));
}

function wrap(parts: Element[]): Element[] {
  return parts.map((p) => (p instanceof SVGElement ? h('figure', { class: 'long' }, p) : p));
}

/** Line of least squares through the offsets. */
function fitLine(rows: readonly ClockRow[]): { offsetSec: number; ppm: number } {
  const n = rows.length;
  const meanT = rows.reduce((s, r) => s + r.tRefSec, 0) / n;
  const meanO = rows.reduce((s, r) => s + r.offsetSec, 0) / n;
  let [tt, to] = [0, 0];
  for (const r of rows) {
    tt += (r.tRefSec - meanT) ** 2;
    to += (r.tRefSec - meanT) * (r.offsetSec - meanO);
  }
  const slope = tt > 0 ? to / tt : 0;
  return { offsetSec: meanO - slope * meanT, ppm: slope * 1e6 };
}
