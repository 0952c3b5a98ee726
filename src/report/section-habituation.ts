import { HABIT_MEASURES } from '../schema/analysis-rows.js';
import type { HabituationRow, HabitMeasure } from '../schema/analysis-rows.js';
import type { ReportHabituation } from './analysis-input.js';
import { dataLink, figure, paragraph, table } from './page.js';
import type { Section } from './page.js';
import type { ReportInput } from './report-input.js';
import { createScale, drawBottomAxis, drawLeftAxis, roundOut } from './scale.js';
import type { Scale } from './scale.js';
import { box, element, label, line, picture, tip } from './svg.js';
import { showNumber } from './text.js';

const AFTER = { fitted: 'fitting', battery: 'battery change', other: 'other handling' } as const;
const MEASURE: Record<HabitMeasure, string> = { calls: 'calls per hour', interval: 'interval between calls', timing: 'time of day of calling', movement: 'movement' };
const PANEL = { width: 320, height: 206, plot: 116 };

/** Every day after a handling against the baseline, and from which day on data may be used; nothing where it was not measured. */
export function writeHabituation(input: ReportInput): Section | undefined {
  const { habituation } = input;
  if (!habituation?.rows.length) return undefined;
  const group = habituation.rows.filter((r) => r.bird === '' && Number.isFinite(r.change));
  const words = habituation.decisions.filter((d) => d.bird === '').map((d) => paragraph(d.words, 'lead')).join('');
  const intro = paragraph('Each day after a handling is held against later days at the same hours. Back to baseline is claimed only where a day is shown to lie within the margin (two one-sided tests); that no difference was found is no claim.');
  const caption = `Change of the group against its baseline with 90 % interval. ${habituation.margin === undefined ? 'No margin was set.' : `Green band: margin of ${showNumber(100 * habituation.margin, 0)} % to both sides.`} `
    + 'Calls, intervals and movement: share of the baseline; time of day: shift of the centre of calling as a share of its standard deviation over the day, up = later. '
    + 'Full dot: shown to be within the margin; orange square: shown to differ; open dot: neither.';
  const drawing = group.length ? figure(drawPanels(group, habituation.margin), 'Day by day.', caption, dataOf(habituation)) : paragraph('No day of the group could be compared.');
  return { id: 'habituation', title: 'Habituation', body: words + intro + drawing + tabulateDays(habituation) + tabulateDetectable(group) };
}

function dataOf({ rows }: ReportHabituation): string {
  const show = (v: number): string => (Number.isFinite(v) ? String(Number(v.toFixed(6))) : '');
  return dataLink('habituation.csv', ['bird', 'after', 'day', 'measure', 'pairs', 'change', 'low', 'high', 'p_flip', 'p_holm', 'p_equivalence', 'detectable', 'verdict'],
    rows.map((r) => [r.bird, r.after, r.day, r.measure, r.pairs, show(r.change), show(r.low), show(r.high), show(r.pFlip), show(r.pHolm), show(r.pEquivalence), show(r.detectable), r.verdict]));
}

/** A row of panels per measure, a column per kind of handling; one scale for all. */
function drawPanels(rows: readonly HabituationRow[], margin: number | undefined): string {
  const kinds = (['fitted', 'battery', 'other'] as const).filter((k) => rows.some((r) => r.after === k));
  const measures = HABIT_MEASURES.filter((m) => rows.some((r) => r.measure === m));
  const reach = [...rows.flatMap((r) => [r.change, r.low, r.high]), margin ?? 0, -(margin ?? 0)].filter((v) => Number.isFinite(v)).map((v) => 100 * v);
  const [low, high] = roundOut(Math.min(0, ...reach), Math.max(0, ...reach), 5);
  const panels = measures.flatMap((measure, row) => kinds.map((after, column) => {
    const left = column * PANEL.width + 58;
    const top = row * PANEL.height + 62;
    const days = Math.max(...rows.filter((r) => r.after === after).map((r) => r.day));
    const x = createScale(0.4, days + 0.6, left, left + PANEL.width - 78);
    const y = createScale(low, high, top + PANEL.plot, top);
    const own = rows.filter((r) => r.after === after && r.measure === measure);
    const title = label(MEASURE[measure], { class: 'name', x: left, y: top - 26 }) + label(`after ${AFTER[after]}`, { class: 'axis-title', x: left, y: top - 10 });
    const band = margin === undefined ? '' : box(x.from, y(100 * margin), x.to - x.from, y(-100 * margin) - y(100 * margin), 'margin') + [margin, -margin].map((m) => line(x.from, y(100 * m), x.to, y(100 * m), 'margin-edge')).join('');
    return element('g', {}, drawBottomAxis(x, top + PANEL.plot, { title: row === measures.length - 1 ? `day after ${AFTER[after]}, d` : '', at: Array.from({ length: days }, (_, i) => i + 1), format: (day) => showNumber(day) }),
      drawLeftAxis(y, left, { title: '', ticks: 5, gridTo: x.to }), title, band, line(x.from, y(0), x.to, y(0), 'zero'), ...own.map((r) => drawDay(r, x, y)));
  }));
  return picture(kinds.length * PANEL.width, measures.length * PANEL.height + 44, 'Change against the baseline day by day after handling',
    label('change against the baseline, %', { class: 'axis-title', x: 6, y: 12 }), ...panels);
}

function drawDay(r: HabituationRow, x: Scale, y: Scale): string {
  const at = x(r.day);
  const differs = r.verdict === 'different';
  const about = tip(`day ${r.day}: ${showNumber(100 * r.change, 1)} % (90 % interval ${showNumber(100 * r.low, 1)} to ${showNumber(100 * r.high, 1)} %), ${r.verdict}`);
  const whisker = Number.isFinite(r.low) && Number.isFinite(r.high) ? line(at, y(100 * r.low), at, y(100 * r.high), differs ? 'whisker-differs' : 'whisker') : '';
  const cy = y(100 * r.change);
  const mark = differs ? box(at - 4.5, cy - 4.5, 9, 9, 'differs') : element('circle', { class: r.verdict === 'equivalent' ? 'dot-full' : 'open', cx: at, cy, r: 4.6 });
  return element('g', {}, about, whisker, mark);
}

function tabulateDays({ decisions, margin }: ReportHabituation): string {
  const birds = [...new Set(decisions.map((d) => d.bird))];
  const kinds = (['fitted', 'battery', 'other'] as const).filter((k) => decisions.some((d) => d.after === k));
  if (!kinds.length) return '';
  const rows = birds.map((bird) => [bird || 'group', ...kinds.map((k) => {
    const found = decisions.find((d) => d.bird === bird && d.after === k);
    return !found ? '–' : found.firstUsableDay === null ? (margin === undefined ? 'no margin, no claim' : `not shown within ${found.testedDays}`) : `day ${found.firstUsableDay}`;
  })]);
  return table(['first usable day', ...kinds.map((k) => `after ${AFTER[k]}`)], rows, { caption: 'From this day on every measure was shown to be back to baseline, on it and on every later day compared. Single birds have less data and are shown later or not at all.' });
}

/** What could have been seen: without this, 'no difference' says nothing. */
function tabulateDetectable(group: readonly HabituationRow[]): string {
  const percent = (v: number): string => (Number.isFinite(v) ? `${showNumber(100 * v, 1)}\u00a0%` : '–');
  const p = (v: number): string => (Number.isFinite(v) ? (v < 0.0001 ? '<0.0001' : showNumber(v, 4)) : '–');
  const rows = group.map((r) => [`${AFTER[r.after]}, day ${r.day}`, MEASURE[r.measure], String(r.pairs), percent(r.change), `${percent(r.low)} to ${percent(r.high)}`, p(r.pHolm), p(r.pEquivalence), percent(r.detectable), r.verdict]);
  return rows.length ? table(['after', 'measure', 'birds', 'change', '90 % interval', 'p sign flip, Holm', 'p equivalence', 'detectable', 'verdict'], rows,
    { caption: 'Detectable: change that a two-sided test at 0.05 would have found with power 0.8.', left: [1, 8] }) : '';
}
