import { computeOadev } from '../analysis/allan.js';
import type { ClockRow } from '../schema/rows.js';
import { dataLink, figure } from './page.js';
import { createScale, drawBottomAxis, drawLeftAxis } from './scale.js';
import { element, picture } from './svg.js';

export interface StabilityPoint { tauSec: number; deviation: number }
export interface ClockJump { tSec: number; stepSec: number }

/** Two neighbouring rows that the rate does not join: off by more than this and by more than five times the stated uncertainty. */
const LEAST_JUMP_SEC = 1e-4;
const JUMP_SIGMAS = 5;

/** Steps of a clock table: what the change from row to row holds beyond rate times time. Rows of one recorder in order of time. */
export function findJumps(rows: readonly ClockRow[]): ClockJump[] {
  const jumps: ClockJump[] = [];
  for (let k = 1; k < rows.length; k++) {
    const [a, b] = [rows[k - 1], rows[k]];
    const step = b.offsetSec - a.offsetSec - (1e-6 * (a.ppm + b.ppm) / 2) * (b.tRefSec - a.tRefSec);
    const doubt = Math.max(a.uncertaintySec, b.uncertaintySec);
    if (Math.abs(step) > Math.max(LEAST_JUMP_SEC, JUMP_SIGMAS * (Number.isFinite(doubt) ? doubt : 0))) jumps.push({ tSec: b.tRefSec, stepSec: step });
  }
  return jumps;
}

/**
 * Overlapping Allan deviation of a clock table at octaves of its step (NIST SP 1065, equation 11), jumps taken out. Only where the rows are
 * evenly spaced; a point needs three intervals.
 */
export function measureStability(rows: readonly ClockRow[]): StabilityPoint[] {
  if (rows.length < 4) return [];
  const tau0 = rows[1].tRefSec - rows[0].tRefSec;
  let even = 1;
  while (even + 1 < rows.length && Math.abs(rows[even + 1].tRefSec - rows[even].tRefSec - tau0) < 1e-3 * tau0) even++;
  const jumps = findJumps(rows);
  const phase = rows.slice(0, even + 1).map((r) => r.offsetSec - jumps.reduce((s, j) => (r.tRefSec >= j.tSec ? s + j.stepSec : s), 0));
  const points: StabilityPoint[] = [];
  for (let m = 1; phase.length >= 3 * m + 1; m *= 2) {
    const deviation = computeOadev(phase, tau0, m);
    if (deviation > 0) points.push({ tauSec: m * tau0, deviation });
  }
  return points;
}

/** Allan deviation against averaging time, both in decades. */
export function drawStability(recorder: string, points: readonly StabilityPoint[]): string {
  if (points.length < 2) return '';
  const decade = (v: number): number => Math.log10(v);
  const x = createScale(Math.floor(decade(points[0].tauSec)), Math.ceil(decade(points[points.length - 1].tauSec)), 70, 510);
  const values = points.map((p) => decade(p.deviation));
  const y = createScale(Math.floor(Math.min(...values)), Math.ceil(Math.max(...values) + 1e-9), 230, 26);
  const wholes = (low: number, high: number): number[] => Array.from({ length: Math.round(high - low) + 1 }, (_, k) => low + k);
  const format = (v: number): string => `1e${Math.round(v)}`;
  const at = (p: StabilityPoint): [string, string] => [x(decade(p.tauSec)).toFixed(2), y(decade(p.deviation)).toFixed(2)];
  const drawing = picture(530, 274, `Stability of the clock of ${recorder}`,
    drawBottomAxis(x, 230, { title: 'averaging time, s', at: wholes(x.low, x.high), format, gridTo: 26 }), drawLeftAxis(y, 70, { title: 'Allan deviation, as a fraction', at: wholes(y.low, y.high), format, gridTo: 510 }),
    element('path', { class: 'call-line', d: `M${points.map((p) => at(p).join(' ')).join('L')}` }), ...points.map((p) => element('circle', { class: 'mark', cx: at(p)[0], cy: at(p)[1], r: 3 })));
  const data = dataLink(`clock-stability-${recorder}.csv`, ['tau_s', 'oadev'], points.map((p) => [p.tauSec.toFixed(3), p.deviation.toExponential(4)]));
  return figure(drawing, `Stability of recorder ${recorder}.`, 'Overlapping Allan deviation (NIST SP 1065) of the fitted offsets against the reference recorder, jumps taken out. The fit is smooth, so short averaging times read low.', data);
}
