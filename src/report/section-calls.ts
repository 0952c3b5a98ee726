import { findDuration, listBirds, NO_TAG, NO_TAG_LABEL } from './bird-order.js';
import { dataLink, figure, table } from './page.js';
import type { Section } from './page.js';
import type { ReportInput } from './report-input.js';
import { createScale, drawBottomAxis, roundOut } from './scale.js';
import { drawHatch } from './hatch.js';
import { box, fittedLabel, label, picture, tip } from './svg.js';
import { showNumber, showPercent, shorten } from './text.js';

interface BirdSummary {
  bird: string;
  name: string;
  calls: number;
  /** Rows of probability 0.95 or more, 0.8 to 0.95, and below. */
  sure: number;
  likely: number;
  doubtful: number;
  /** Sum of the probabilities. */
  expected: number;
  usableSec: number;
  medianMs: number;
  medianSnrDb: number;
  medianHz: number;
  overlapShare: number;
}

/** Calls per bird: bars by how sure the rows are, and a table. */
export function writeCalls(input: ReportInput): Section {
  const rows = summariseBirds(input);
  const data = dataLink('calls-per-bird.csv', ['bird', 'calls', 'p_095_up', 'p_080_to_095', 'p_below_080', 'expected_real', 'usable_s'],
    rows.map((r) => [r.bird, r.calls, r.sure, r.likely, r.doubtful, r.expected.toFixed(2), r.usableSec.toFixed(1)]));
  return {
    id: 'calls', title: 'Calls per bird',
    body: figure(drawBars(rows), 'How many, and how sure.', 'Rows of the call table by bird. Dark: probability of at least 0.95; middle: 0.80 to 0.95; outlined: below. '
      + 'The number in brackets is how many of them are expected to be real calls of that bird (sum of the probabilities).', data) + tabulate(rows),
  };
}

export function summariseBirds(input: ReportInput): BirdSummary[] {
  const birds = [...listBirds(input), NO_TAG];
  return birds.map((bird) => {
    const own = input.calls.filter((c) => c.bird === bird);
    const sure = own.filter((c) => c.probability >= 0.95).length;
    const likely = own.filter((c) => c.probability >= 0.8).length - sure;
    const hours = input.hours.filter((h) => h.track === bird);
    return {
      bird, name: bird === NO_TAG ? NO_TAG_LABEL : bird, calls: own.length, sure, likely, doubtful: own.length - sure - likely,
      expected: own.reduce((s, c) => s + c.probability, 0),
      // A caller without a tag has no track of its own: its time is the study's.
      usableSec: bird === NO_TAG ? findDuration(input) : hours.length ? hours.reduce((s, h) => s + h.usableSec, 0) : NaN,
      medianMs: median(own.map((c) => 1000 * (c.offsetSec - c.onsetSec))), medianSnrDb: median(own.map((c) => c.snrDb)), medianHz: median(own.map((c) => c.peakHz)),
      overlapShare: own.length ? own.filter((c) => c.overlaps > 0).length / own.length : NaN,
    };
  });
}

/** NaN of nothing; missing values are left out. */
export function median(values: readonly number[]): number {
  const sorted = values.filter((v) => Number.isFinite(v)).sort((a, b) => a - b);
  const half = sorted.length >> 1;
  return sorted.length === 0 ? NaN : sorted.length % 2 ? sorted[half] : (sorted[half - 1] + sorted[half]) / 2;
}

function drawBars(rows: readonly BirdSummary[]): string {
  const left = 130;
  const step = 30;
  const bottom = 14 + rows.length * step;
  const x = createScale(0, roundOut(0, Math.max(1, ...rows.map((r) => r.calls)))[1], left, 880);
  const bars = rows.map((row, i) => {
    const y = 14 + i * step;
    const isFree = row.bird === NO_TAG;
    const parts: [number, string, string][] = [[row.sure, isFree ? 'notag' : 'call', '0.95 or more'], [row.likely, isFree ? 'notag' : 'call-mid', '0.80 to 0.95'], [row.doubtful, 'call-low', 'below 0.80']];
    let done = 0;
    const pieces = parts.map(([count, css, text]) => {
      const from = x(done);
      done += count;
      const title = tip(`${row.name}: ${count} rows of probability ${text}`);
      if (!count) return '';
      if (isFree && css !== 'notag') return box(from, y + 0.5, x(done) - from, 19, 'notag-edge', title);
      return isFree ? drawHatch(from, y, x(done) - from, 20, 'notag', title) : box(from, y, x(done) - from, 20, css, title);
    });
    const amount = label(`${row.calls} (${showNumber(row.expected, 1)})`, { class: 'num', x: x(done) + 8, y: y + 15 });
    return fittedLabel(shorten(row.name, 16), left - 12, { class: 'name', x: left - 10, y: y + 15, 'text-anchor': 'end' }) + pieces.join('') + amount;
  });
  const about = `Calls per bird: ${rows.map((r) => `${r.name} ${r.calls}`).join(', ')}`;
  return picture(980, bottom + 44, about, drawBottomAxis(x, bottom, { title: 'calls in the table', gridTo: 8, leastStep: 1 }), ...bars);
}

function tabulate(rows: readonly BirdSummary[]): string {
  return table(
    ['bird', 'calls', 'expected real', 'usable time h', 'calls per usable h', 'median length ms', 'median over noise dB', 'median peak kHz', 'overlapped'],
    rows.map((r) => [
      r.name, String(r.calls), showNumber(r.expected, 1), showNumber(r.usableSec / 3600, r.usableSec < 36000 ? 4 : 2), showNumber((r.calls / r.usableSec) * 3600, 0),
      showNumber(r.medianMs, 0), showNumber(r.medianSnrDb, 1), showNumber(r.medianHz / 1000, 2), showPercent(r.overlapShare),
    ]),
    { caption: 'Rates are per hour of usable time of the bird\'s own track; for callers without a tag per hour of the study.' },
  );
}
