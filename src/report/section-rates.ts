import { formatHours } from '../analysis/rates/format-rates.js';
import type { HourRateRow, RateRow } from '../schema/analysis-rows.js';
import type { ReportRates } from './analysis-input.js';
import { dataLink, figure, paragraph, table } from './page.js';
import type { Section } from './page.js';
import type { ReportInput } from './report-input.js';
import { createScale, drawBottomAxis, drawLeftAxis, roundOut } from './scale.js';
import { box, element, fittedLabel, label, line, pathThrough, picture, tip } from './svg.js';
import { showNumber, shorten } from './text.js';

const LEFT = 112;
const ROW = 26;
const PANEL = { width: 230, height: 158, columns: 4 };

/** Calls per usable hour by bird and by hour of day; nothing where rates were not measured. */
export function writeRates(input: ReportInput): Section | undefined {
  const { rates } = input;
  const rows = rates?.rates.filter((r) => r.what === 'calls') ?? [];
  if (!rates || !rows.length) return undefined;
  const hours = rates.byHour.filter((r) => r.what === 'calls');
  const intro = paragraph(`Calls outside song bouts per hour of usable time.${rates.dispersion ? ` ${rates.dispersion}` : ''}`);
  const byBird = figure(drawBirds(rows), 'Calls per usable hour.', 'Dot: rate; thick line: exact 95 % Poisson interval, right where calls come independently; thin line: quasi-Poisson 95 % interval, widened by the scatter that was found.',
    dataLink('rates.csv', RATE_HEAD, rates.rates.map((r) => [nameOf(r), r.what, ...listRate(r)])));
  const byHour = hours.length ? figure(drawHours(rows.map((r) => r.bird), hours, rates.isClockKnown !== false), rates.isClockKnown === false ? 'By hour since the start.' : 'By hour of day.', 'All days together; the band is the 95 % interval widened by the scatter, or the exact one where the scatter is not known. Gaps: no usable time. All panels have the same scales.'
    + `${rates.clock ? ` ${rates.clock}` : ''}`,
    dataLink('rates-by-hour.csv', [...RATE_HEAD.slice(0, 2), 'hour', ...RATE_HEAD.slice(2)], hours.map((r) => [nameOf(r), r.what, r.hour, ...listRate(r)]))) : '';
  return { id: 'rates', title: 'Rates', body: intro + byBird + byHour + tabulate(rates, rows) };
}

const RATE_HEAD = ['bird', 'what', 'usable_s', 'count', 'per_hour', 'low', 'high', 'quasi_low', 'quasi_high', 'dispersion', 'dispersion_within'];

function listRate(r: RateRow): string[] {
  return [r.usableSec.toFixed(1), ...[r.count, r.perHour, r.low, r.high, r.quasiLow, r.quasiHigh, r.dispersion, r.dispersionWithin].map((v) => (Number.isFinite(v) ? v.toFixed(4) : ''))];
}

function nameOf(r: { bird: string }): string {
  return r.bird || 'all birds';
}

const finite = (values: readonly number[]): number[] => values.filter((v) => Number.isFinite(v));

function drawBirds(rows: readonly RateRow[]): string {
  const most = Math.max(...finite(rows.flatMap((r) => [r.high, r.quasiHigh, r.perHour])), 0);
  const [, high] = roundOut(0, most || 1, 6);
  const x = createScale(0, high, LEFT, 720);
  const bottom = 14 + rows.length * ROW;
  const axis = drawBottomAxis(x, bottom, { title: 'calls per usable hour and bird, 1/h', gridTo: 8, ticks: 8 });
  const marks = rows.map((r, i) => {
    const y = 8 + (i + 0.5) * ROW;
    const about = tip(`${nameOf(r)}: ${showNumber(r.perHour, 2)} per hour, exact ${showNumber(r.low, 2)} to ${showNumber(r.high, 2)}, widened ${showNumber(r.quasiLow, 2)} to ${showNumber(r.quasiHigh, 2)}`);
    const name = fittedLabel(shorten(nameOf(r), 16), LEFT - 12, { class: r.bird ? 'name' : 'num', x: LEFT - 10, y: y + 4, 'text-anchor': 'end' });
    if (!Number.isFinite(r.perHour)) return name;
    const span = (low: number, top: number, css: string): string => (Number.isFinite(low) && Number.isFinite(top) ? line(x(low), y, x(top), y, css) : '');
    const dot = r.bird ? element('circle', { class: 'dot-full', cx: x(r.perHour), cy: y, r: 4.2 }) : element('path', { class: 'dot-full', d: `M${x(r.perHour)} ${y - 6}l6 6l-6 6l-6 -6z` });
    return element('g', {}, about, name, span(r.quasiLow, r.quasiHigh, 'whisker'), span(r.low, r.high, 'range'), dot);
  });
  return picture(740, bottom + 42, 'Calls per usable hour by bird with 95 % intervals', axis, ...marks);
}

/** One small panel per bird, scales shared so that panels can be compared. */
function drawHours(birds: readonly string[], rows: readonly HourRateRow[], isClockKnown: boolean): string {
  const ends = (r: RateRow): [number, number] => (Number.isFinite(r.quasiLow) && Number.isFinite(r.quasiHigh) ? [r.quasiLow, r.quasiHigh] : [r.low, r.high]);
  const [, high] = roundOut(0, Math.max(1e-6, ...finite(rows.flatMap((r) => [r.perHour, ends(r)[1]]))), 4);
  const panels = birds.map((bird, i) => {
    const left = (i % PANEL.columns) * PANEL.width + 46;
    const top = Math.floor(i / PANEL.columns) * PANEL.height + 46;
    const x = createScale(0, 24, left, left + PANEL.width - 66);
    const y = createScale(0, high, top + 78, top);
    const runs = joinHours(rows.filter((r) => r.bird === bird && r.usableSec > 0 && Number.isFinite(r.perHour)));
    const drawn = runs.map((run) => {
      const at = (r: HourRateRow, v: number): readonly [number, number] => [x(r.hour + 0.5), y(v)];
      if (run.length === 1) return element('g', {}, line(...at(run[0], ends(run[0])[0]), ...at(run[0], ends(run[0])[1]), 'whisker'), box(x(run[0].hour + 0.5) - 1.5, y(run[0].perHour) - 1.5, 3, 3, 'call'));
      return pathThrough([...run.map((r) => at(r, ends(r)[1])), ...[...run].reverse().map((r) => at(r, ends(r)[0]))], 'band') + pathThrough(run.map((r) => at(r, r.perHour)), 'call-line');
    });
    const title = fittedLabel(shorten(bird || 'all birds', 18), PANEL.width - 56, { class: bird ? 'name' : 'num', x: left, y: top - 9 });
    return element('g', {}, drawBottomAxis(x, top + 78, { title: i % PANEL.columns !== 0 ? '' : isClockKnown ? 'hour of the day, h' : 'hours since the start, of 24', at: [0, 6, 12, 18, 24], gridTo: top }),
      drawLeftAxis(y, left, { title: '', ticks: 3, gridTo: left + PANEL.width - 66 }), title, ...drawn);
  });
  const columns = Math.min(PANEL.columns, birds.length);
  return picture(columns * PANEL.width, Math.ceil(birds.length / PANEL.columns) * PANEL.height + 30, `Calls per usable hour by ${isClockKnown ? 'hour of day' : 'hours since the start, of 24'}, one panel per bird`,
    label('calls per usable hour, 1/h', { class: 'axis-title', x: 6, y: 12 }), ...panels);
}

/** Hours that follow each other without a gap. */
function joinHours(rows: readonly HourRateRow[]): HourRateRow[][] {
  const runs: HourRateRow[][] = [];
  for (const row of [...rows].sort((a, b) => a.hour - b.hour)) {
    const last = runs[runs.length - 1];
    if (last && last[last.length - 1].hour === row.hour - 1) last.push(row);
    else runs.push([row]);
  }
  return runs;
}

/** As the command prints them: of a short study more than a tenth of an hour is told. */
function showHours(sec: number): string {
  return Number.isFinite(sec) ? formatHours(sec / 3600) : showNumber(sec);
}

function tabulate(rates: ReportRates, rows: readonly RateRow[]): string {
  const range = (low: number, high: number): string => (Number.isFinite(low) ? `${showNumber(low, 1)} to ${showNumber(high, 1)}` : '–');
  const cells = rows.map((r) => {
    const bouts = rates.rates.find((b) => b.bird === r.bird && b.what === 'bouts');
    return [nameOf(r), showHours(r.usableSec), showNumber(r.count, 0), showNumber(r.perHour, 1), range(r.low, r.high), showNumber(r.dispersionWithin, 2), range(r.quasiLow, r.quasiHigh), showNumber(bouts?.count, 0), showNumber(bouts?.perHour, 2)];
  });
  return table(['bird', 'usable h', 'calls', 'per hour', 'exact 95 %', 'variance over mean', 'widened 95 %', 'song bouts', 'bouts per hour'], cells,
    { caption: `Usable time less what is excluded${rates.excludedBy ? ` (${rates.excludedBy})` : ''}. Variance over mean of counts per hour at the same hour of the day: 1 where calls come independently.` });
}
