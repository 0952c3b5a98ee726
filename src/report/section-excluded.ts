import type { ExclusionRow } from '../schema/analysis-rows.js';
import { findDuration, listBirds } from './bird-order.js';
import { drawHatch } from './hatch.js';
import { dataLink, figure, paragraph, table } from './page.js';
import type { Section } from './page.js';
import type { ReportInput } from './report-input.js';
import { createScale, drawBottomAxis, findTimeTicks } from './scale.js';
import { box, element, fittedLabel, picture, tip } from './svg.js';
import { joinNames, showCount, showDuration, shorten } from './text.js';

const LEFT = 112;
const WIDTH = 780;
const ROW = 24;

/** Time and calls that the analyses leave out; nothing where none was made. */
export function writeExcluded(input: ReportInput): Section | undefined {
  const rows = input.excluded ?? [];
  const notCounted = describeLeftOut(input);
  if (!input.excluded && !notCounted) return undefined;
  const body = rows.length
    ? figure(drawWindows(input, rows), 'Time left out.', describeHatch(input),
      dataLink('excluded.csv', ['bird', 'start_s', 'end_s', 'reason'], rows.map((r) => [r.bird, r.startSec.toFixed(6), r.endSec.toFixed(6), r.reason]))) + tabulate(rows, listBirds(input).length)
    : paragraph('No stretch of time is listed as left out.');
  return { id: 'excluded', title: 'What was excluded', body: body + notCounted };
}

/** The analyses of the report that left out what excluded.csv lists. */
export function listLeavingOut({ rates, network }: Pick<ReportInput, 'rates' | 'network'>): string[] {
  return [...(rates && !rates.hasOwnWindows ? ['rates'] : []), ...(network ? ['the network'] : [])];
}

function describeHatch(input: ReportInput): string {
  const leavingOut = listLeavingOut(input);
  const of = leavingOut.length ? `left out of ${joinNames(leavingOut)}` : 'listed in excluded.csv, but no number of this report leaves it out';
  const own = input.rates?.hasOwnWindows ? ` Rates go by other windows${input.rates.excludedBy ? ` (${input.rates.excludedBy})` : ''}.` : '';
  return `Hatched: ${of}; the calls of that time stay in the call table.${own}`;
}

function drawWindows(input: ReportInput, rows: readonly ExclusionRow[]): string {
  const birds = listBirds(input);
  const durationSec = findDuration(input);
  const x = createScale(0, durationSec, LEFT, LEFT + WIDTH);
  const bottom = 8 + birds.length * ROW;
  const ticks = findTimeTicks(0, durationSec, 12);
  const axis = drawBottomAxis(x, bottom, { title: `time since the study's start, ${ticks.unit}`, at: ticks.values, format: ticks.format, gridTo: 8 });
  const drawn = birds.map((bird, i) => {
    const y = 8 + i * ROW;
    const own = rows.filter((r) => r.bird === '' || r.bird === bird).map((r) => [Math.max(0, r.startSec), Math.min(durationSec, r.endSec), r.reason] as const).filter(([from, to]) => to > from);
    const marks = own.map(([from, to, reason]) => {
      const about = tip(`${bird}: ${showDuration(from)} to ${showDuration(to)}, ${reason}`);
      const width = x(to) - x(from);
      return width >= 6 ? drawHatch(x(from), y + 3, width, ROW - 6, 'lost', about) : box(x(from), y + 3, Math.max(1.5, width), ROW - 6, 'lost', about);
    });
    return element('g', {}, fittedLabel(shorten(bird, 16), LEFT - 12, { class: 'name', x: LEFT - 10, y: y + 16, 'text-anchor': 'end' }), box(LEFT, y + 3, WIDTH, ROW - 6, 'frame'), ...marks);
  });
  return picture(LEFT + WIDTH + 20, bottom + 42, `Excluded time of ${birds.length} birds`, axis, ...drawn);
}

/** Windows by reason; time is bird time, a window of all birds counts for each. */
function tabulate(rows: readonly ExclusionRow[], birdCount: number): string {
  const reasons = [...new Set(rows.map((r) => r.reason))];
  const cells = reasons.map((reason) => {
    const own = rows.filter((r) => r.reason === reason);
    const birds = own.some((r) => r.bird === '') ? birdCount : new Set(own.map((r) => r.bird)).size;
    const birdSec = own.reduce((s, r) => s + (r.endSec - r.startSec) * (r.bird === '' ? birdCount : 1), 0);
    return [reason, String(own.length), String(birds), showDuration(birdSec)];
  });
  return table(['reason', 'windows', 'birds', 'bird time'], cells, { css: 'wrap' });
}

const WORDS: Record<string, string> = {
  excluded: 'in excluded time', linkDown: "while the bird's own link was down", unlikely: 'below the least probability', untagged: 'of birds without a track',
  belowThreshold: 'below the least probability', sharedSound: "that share a surer call's sound", unobserved: 'at unobserved or excluded times',
};

function describeLeftOut({ rates, network }: ReportInput): string {
  const list = (counts: Readonly<Record<string, number>> | undefined): string => Object.entries(counts ?? {}).filter(([key, n]) => key in WORDS && n > 0).map(([key, n]) => `${showCount(n, 'call')} ${WORDS[key]}`).join(', ');
  const parts = [['rates', list(rates?.leftOut)], ['the network', list(network?.counts)]].filter(([, text]) => text);
  return parts.map(([what, text]) => paragraph(`Not counted for ${what}: ${text}.`)).join('');
}
