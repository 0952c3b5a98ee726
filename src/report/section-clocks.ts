import type { ClockRow } from '../schema/rows.js';
import { dataLink, figure, paragraph, table } from './page.js';
import type { Section } from './page.js';
import type { ReportInput } from './report-input.js';
import { createScale, drawBottomAxis, drawLeftAxis, findTimeTicks, roundOut } from './scale.js';
import { compareText } from './bird-order.js';
import { median } from './section-calls.js';
import { element, picture } from './svg.js';
import { drawStability, findJumps, measureStability } from './clock-stability.js';
import { showNumber } from './text.js';

/** Clocks of all recorders but the first; nothing with one recorder. */
export function writeClocks(input: ReportInput): Section | undefined {
  const recorders = [...new Set(input.clock.map((r) => r.recorder))].sort(compareText);
  if (!recorders.length) return undefined;
  const reference = input.study.recorders[0];
  const intro = paragraph(`All times are on the clock of ${reference ? `the recorder ${reference}` : 'the first recorder'}. The other clocks were found from crosstalk alone: a call of one bird on both recorders, and of the other bird back, `
    + 'differ in lag by twice the offset of the clocks, whatever the distance.');
  const parts = recorders.map((recorder) => describeClock(recorder, input.clock.filter((r) => r.recorder === recorder).sort((a, b) => a.tRefSec - b.tRefSec)));
  const rows = parts.map((p) => p.row);
  return { id: 'clocks', title: 'Clocks', body: `${intro}${table(['recorder', 'offset at the start s', 'offset at the end s', 'median rate ppm', 'standard uncertainty µs', 'jumps'], rows)}<div class="pair">${parts.map((p) => p.drawing).join('')}</div>` };
}

function describeClock(recorder: string, rows: readonly ClockRow[]): { row: string[]; drawing: string } {
  const first = rows[0];
  const last = rows[rows.length - 1];
  const jumps = findJumps(rows);
  const row = [recorder, showNumber(first.offsetSec, 6), showNumber(last.offsetSec, 6), showNumber(median(rows.map((r) => r.ppm)), 2), showNumber(1e6 * median(rows.map((r) => r.uncertaintySec)), 0), jumps.length ? jumps.map((j) => `${showNumber(1000 * j.stepSec, 2)} ms at ${showNumber(j.tSec, 1)} s`).join('; ') : 'none found'];
  return { row, drawing: rows.length > 1 ? drawClock(recorder, rows) + drawStability(recorder, measureStability(rows)) : '' };
}

/** Offset against time, less the offset at the start, with twice its uncertainty. */
function drawClock(recorder: string, rows: readonly ClockRow[]): string {
  const points = rows.map((r) => ({ t: r.tRefSec, ms: 1000 * (r.offsetSec - rows[0].offsetSec), u: 2000 * (Number.isFinite(r.uncertaintySec) ? r.uncertaintySec : 0) }));
  const [low, high] = roundOut(Math.min(...points.map((p) => p.ms - p.u)), Math.max(...points.map((p) => p.ms + p.u)), 5);
  const x = createScale(points[0].t, points[points.length - 1].t, 70, 510);
  const y = createScale(low, high, 230, 26);
  const ticks = findTimeTicks(x.low, x.high, 7);
  const at = (p: { t: number }, ms: number): string => `${x(p.t).toFixed(2)} ${y(ms).toFixed(2)}`;
  const outline = [...points.map((p) => at(p, p.ms + p.u)), ...[...points].reverse().map((p) => at(p, p.ms - p.u))];
  const drawing = picture(530, 274, `Clock of ${recorder}`,
    drawBottomAxis(x, 230, { title: `time since the study's start, ${ticks.unit}`, at: ticks.values, format: ticks.format, gridTo: 26 }), drawLeftAxis(y, 70, { title: 'change of offset since the start, ms', gridTo: 510 }),
    element('path', { class: 'band', d: `M${outline.join('L')}z` }), element('path', { class: 'call-line', d: `M${points.map((p) => at(p, p.ms)).join('L')}` }));
  const data = rows.length <= 2000 ? dataLink(`clock-${recorder}.csv`, ['t_ref_s', 'offset_s', 'ppm', 'uncertainty_s'], rows.map((r) => [r.tRefSec.toFixed(3), r.offsetSec.toFixed(6), showPlain(r.ppm, 4), showPlain(r.uncertaintySec, 6)])) : '';
  return figure(drawing, `Recorder ${recorder}.`, 'Its file time minus reference time, from the start of the study on; the band is twice the standard uncertainty.', data);
}

function showPlain(value: number, decimals: number): string {
  return Number.isFinite(value) ? value.toFixed(decimals) : '';
}
