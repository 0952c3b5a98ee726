import type { DayMeasure, NetworkEdge, TurnTaking } from '../analysis/network/index.js';
import { dataLink, figure } from './page.js';
import { createScale, drawBottomAxis, drawLeftAxis, roundOut } from './scale.js';
import { element, fittedLabel, label, line, pathThrough, picture, tip } from './svg.js';
import { showNumber, shorten } from './text.js';

const PANEL = { width: 310, height: 176, columns: 3, plot: 92 };
const ROW = { height: 24, left: 220, width: 430 };
/** More rows do not fit a page; all are in the data. */
const MOST_ROWS = 20;
/** Fewer calls on a day say little: an open dot. The same number below which days are not correlated. */
const LEAST_CALLS = 20;

const orEmpty = (value: number): string | number => (Number.isFinite(value) ? Number(value.toFixed(6)) : '');

/** How often two birds take turns, against chance; '' where nothing was told. */
export function writeTurns(turns: readonly TurnTaking[]): string {
  const told = turns.filter((t) => Number.isFinite(t.index)).sort((a, b) => b.index - a.index);
  if (!told.length) return '';
  const shown = told.slice(0, MOST_ROWS);
  const data = dataLink('network-turns.csv', ['bird_a', 'bird_b', 'followed', 'alternations', 'share', 'chance', 'index', 'p'], turns.map((t) => [t.birdA, t.birdB, t.followed, t.alternations, ...[t.share, t.chance, t.index, t.p].map(orEmpty)]));
  return figure(drawTurns(shown), 'Taking turns.', `Share of successive calls of two birds that change bird. Dot: found, full where p is at most 0.05, not corrected for the number of pairs; stroke: mean of circular shifts.${told.length > shown.length ? ` The ${MOST_ROWS} pairs furthest above chance are drawn.` : ''}`, data);
}

function drawTurns(turns: readonly TurnTaking[]): string {
  const bottom = 14 + turns.length * ROW.height;
  const x = createScale(0, 1, ROW.left, ROW.left + ROW.width);
  const rows = turns.map((t, i) => {
    const y = 22 + i * ROW.height;
    const about = tip(`${t.birdA} and ${t.birdB}: ${showNumber(t.share, 3)} of ${t.followed} followed calls, chance ${showNumber(t.chance, 3)}, p ${showNumber(t.p, 4)}`);
    return element('g', {}, about, fittedLabel(`${shorten(t.birdA, 14)} and ${shorten(t.birdB, 14)}`, ROW.left - 14, { x: ROW.left - 12, y: y + 4, 'text-anchor': 'end' }), line(x(t.chance), y, x(t.share), y, 'whisker'),
      line(x(t.chance), y - 7, x(t.chance), y + 7, 'whisker-differs'), element('circle', { class: t.p <= 0.05 ? 'dot-full' : 'open', cx: x(t.share), cy: y, r: 4.6 }));
  });
  return picture(ROW.left + ROW.width + 30, bottom + 44, 'Share of successive calls that change bird, a row per two birds', drawBottomAxis(x, bottom, { title: 'share of successive calls that change bird', ticks: 5, gridTo: 10 }), ...rows);
}

/** The weight of each edge day by day; '' with fewer than two days. */
export function writeDays(edges: readonly NetworkEdge[], days: readonly DayMeasure[]): string {
  const shown = edges.filter((e) => listDays(e, days).length > 1);
  if (!shown.length) return '';
  const data = dataLink('network-days.csv', ['day', 'caller', 'replier', 'calls', 'replies', 'reply_probability', 'chance', 'excess'], days.map((d) => [d.day, d.caller, d.replier, d.calls, d.replies, ...[d.replyProbability, d.chance, d.excess].map(orEmpty)]));
  return figure(drawDays(shown, days), 'Day by day.', `Excess of the reply probability over chance on each day, one scale for all; the first day of the study is 1. Open dots: fewer than ${LEAST_CALLS} calls on that day.`, data);
}

function listDays(e: NetworkEdge, days: readonly DayMeasure[]): DayMeasure[] {
  return days.filter((d) => d.caller === e.caller && d.replier === e.replier && Number.isFinite(d.excess)).sort((a, b) => a.day - b.day);
}

function drawDays(edges: readonly NetworkEdge[], days: readonly DayMeasure[]): string {
  const all = edges.flatMap((e) => listDays(e, days));
  const [low, high] = roundOut(Math.min(0, ...all.map((d) => d.excess)), Math.max(0, ...all.map((d) => d.excess)), 4);
  const first = Math.min(...all.map((d) => d.day)), last = Math.max(...all.map((d) => d.day));
  const panels = edges.map((e, i) => {
    const left = (i % PANEL.columns) * PANEL.width + 50, top = Math.floor(i / PANEL.columns) * PANEL.height + 48;
    const x = createScale(first - 0.4, last + 0.4, left, left + PANEL.width - 70), y = createScale(low, high, top + PANEL.plot, top);
    const own = listDays(e, days);
    const dots = own.map((d) => element('circle', { class: d.calls < LEAST_CALLS ? 'open' : 'dot-full', cx: x(d.day), cy: y(d.excess), r: 3.4 }, tip(`day ${d.day}: ${showNumber(d.excess, 3)} (${d.calls} calls)`)));
    return element('g', {}, fittedLabel(`${shorten(e.caller, 14)} → ${shorten(e.replier, 14)}`, PANEL.width - 60, { class: 'name', x: left, y: top - 10 }), drawBottomAxis(x, top + PANEL.plot, { title: 'day of the study, d', ticks: 5, leastStep: 1 }),
      drawLeftAxis(y, left, { title: '', ticks: 4, gridTo: x.to }), line(x.from, y(0), x.to, y(0), 'zero'), pathThrough(own.map((d) => [x(d.day), y(d.excess)]), 'call-line'), ...dots);
  });
  return picture(Math.min(PANEL.columns, edges.length) * PANEL.width, Math.ceil(edges.length / PANEL.columns) * PANEL.height + 28, 'Excess day by day, one panel per edge',
    label('excess over chance', { class: 'axis-title', x: 6, y: 12 }), ...panels);
}
