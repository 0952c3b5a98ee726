import type { CallRow, SoundRow, TrackHourRow } from '../schema/rows.js';
import { findDuration, listBirds, NO_TAG, NO_TAG_LABEL } from './bird-order.js';
import { describeCall } from './draw-excerpt.js';
import { drawHatch } from './hatch.js';
import { dataLink, figure, table } from './page.js';
import type { Section } from './page.js';
import type { ReportInput } from './report-input.js';
import { createScale, drawBottomAxis, findTimeTicks } from './scale.js';
import type { Scale } from './scale.js';
import { box, element, fittedLabel, label, line, picture, tip } from './svg.js';
import { showDuration, showNumber, showPercent, shorten } from './text.js';

const LEFT = 112;
const WIDTH = 980;
const ROW = 48;
/** Above this length single calls no longer fit a page: counts are drawn. */
const SINGLE_CALLS_SEC = 900;
const BINS = 240;

/** The study in time: calls, lost links and body noise of every track, and what each track was worth. */
export function writeLinks(input: ReportInput): Section {
  const single = findDuration(input) <= SINGLE_CALLS_SEC;
  const caption = `${single ? 'Each stroke is a call, as high as its probability.' : 'Bars count calls in equal pieces of time; each row has its own scale, its largest count is written at the right.'} `
    + 'Under it, the green band is as high as the share of each hour that can be used; hatched where the link was lost; violet strokes are body noise.';
  return { id: 'links', title: 'Links and usable time', body: figure(drawTime(input), 'The study in time.', caption, dataOf(input.hours)) + tabulate(input) };
}

function drawTime(input: ReportInput): string {
  const durationSec = findDuration(input);
  const rows = [...listBirds(input), NO_TAG];
  const x = createScale(0, durationSec, LEFT, LEFT + WIDTH);
  const bottom = 8 + rows.length * ROW;
  const ticks = findTimeTicks(0, durationSec, 12);
  const axis = drawBottomAxis(x, bottom, { title: `time since the study's start, ${ticks.unit}`, at: ticks.values, format: ticks.format, gridTo: 8 });
  const drawn = rows.map((bird, i) => {
    const y = 8 + i * ROW;
    const calls = input.calls.filter((c) => c.bird === bird);
    const name = bird === NO_TAG ? NO_TAG_LABEL : bird;
    const band = bird === NO_TAG ? '' : drawBand(input.hours.filter((h) => h.track === bird), input.sounds.filter((s) => s.track === bird), durationSec, x, y + ROW - 18);
    const marks = durationSec <= SINGLE_CALLS_SEC ? drawSingle(calls, x, y) : drawCounts(calls, durationSec, x, y);
    return element('g', {}, fittedLabel(shorten(name, 16), LEFT - 12, { class: 'name', x: LEFT - 10, y: y + 22, 'text-anchor': 'end' }), line(LEFT, y + ROW - 20, LEFT + WIDTH, y + ROW - 20, 'grid'), marks, band);
  });
  return picture(LEFT + WIDTH + 44, bottom + 42, `Calls and usable time of ${rows.length - 1} tracks over ${showDuration(durationSec)}`, axis, ...drawn);
}

function drawSingle(calls: readonly CallRow[], x: Scale, y: number): string {
  return calls.map((call) => {
    const high = Math.max(2, 24 * call.probability);
    return box(x(call.onsetSec), y + ROW - 21 - high, Math.max(1.4, x(call.offsetSec) - x(call.onsetSec)), high, call.bird === NO_TAG ? 'notag' : 'call', tip(describeCall(call)));
  }).join('');
}

function drawCounts(calls: readonly CallRow[], durationSec: number, x: Scale, y: number): string {
  const counts = new Array<number>(BINS).fill(0);
  for (const call of calls) counts[Math.min(BINS - 1, Math.max(0, Math.floor((call.onsetSec / durationSec) * BINS)))]++;
  const most = Math.max(1, ...counts);
  const base = y + ROW - 21;
  const d = counts.map((n, i) => (n ? `M${x((i * durationSec) / BINS).toFixed(1)} ${base}v${(-24 * (n / most)).toFixed(1)}h${(WIDTH / BINS - 0.5).toFixed(1)}V${base}z` : '')).join('');
  const css = calls[0]?.bird === NO_TAG ? 'notag' : 'call';
  return (d ? element('path', { class: css, d }) : '') + label(String(most), { class: 'small num', x: LEFT + WIDTH + 6, y: base - 16 });
}

const HOUR_SEC = 3600;

function drawBand(hours: readonly TrackHourRow[], sounds: readonly SoundRow[], durationSec: number, x: Scale, y: number): string {
  const high = 9;
  const bars = hours.map((hour): Bar => {
    const lengthSec = Math.min(HOUR_SEC, durationSec - hour.startSec);
    const share = lengthSec > 0 ? Math.min(1, hour.usableSec / lengthSec) : 0;
    return { from: x(hour.startSec), to: x(hour.startSec + lengthSec), top: y + high * (1 - share), bottom: y + high };
  });
  const lost = joinNear(sounds.filter((s) => s.kind === 'dropout'), x);
  // Hatching needs room; narrower losses are full marks.
  const wide = lost.filter(([from, to]) => to - from >= 6).map(([from, to]) => drawHatch(from, y, to - from, high, 'lost', tip('link lost')));
  const narrow = lost.filter(([from, to]) => to - from < 6).map(([from, to]): Bar => ({ from, to: Math.max(to, from + 1.5), top: y, bottom: y + high }));
  const body = joinNear(sounds.filter((s) => s.kind === 'body'), x).map(([from, to]): Bar => ({ from, to: Math.max(to, from + 1.2), top: y + high + 1, bottom: y + high + 3.5 }));
  return drawBars(bars, 'usable') + wide.join('') + drawBars(narrow, 'lost') + drawBars(body, 'body');
}

interface Bar { from: number; to: number; top: number; bottom: number }

/** Many rectangles as one path: a fortnight of hours of sixteen birds must not make a picture of megabytes. */
function drawBars(bars: readonly Bar[], css: string): string {
  const round = (v: number): string => String(Math.round(v * 10) / 10);
  const d = bars.map((b) => `M${round(b.from)} ${round(b.bottom)}V${round(b.top)}H${round(b.to)}V${round(b.bottom)}z`).join('');
  return d ? element('path', { class: css, d }) : '';
}

/** Stretches nearer than half a point are one mark. */
function joinNear(stretches: readonly { onsetSec: number; offsetSec: number }[], x: Scale): [number, number][] {
  const joined: [number, number][] = [];
  for (const s of [...stretches].sort((a, b) => a.onsetSec - b.onsetSec)) {
    const last = joined[joined.length - 1];
    if (last && x(s.onsetSec) - last[1] < 0.5) last[1] = Math.max(last[1], x(s.offsetSec));
    else joined.push([x(s.onsetSec), x(s.offsetSec)]);
  }
  return joined;
}

interface TrackSummary { track: string; recorder: string; usableSec: number; lostShare: number; floorDb: number; gainDb: number }

/** One row per track over all hours: sums, and means weighted by the usable time. */
export function summariseTracks(input: Pick<ReportInput, 'hours' | 'run'>): TrackSummary[] {
  const byTrack = new Map<string, TrackHourRow[]>();
  for (const hour of input.hours) byTrack.set(hour.track, [...(byTrack.get(hour.track) ?? []), hour]);
  return [...byTrack].map(([track, hours]) => {
    const usableSec = hours.reduce((s, h) => s + h.usableSec, 0);
    const weigh = (read: (hour: TrackHourRow) => number): number => {
      const known = hours.filter((h) => Number.isFinite(read(h)));
      const weights = known.map((h) => (usableSec > 0 ? h.usableSec : 1));
      return known.reduce((s, h, i) => s + read(h) * weights[i], 0) / weights.reduce((s, w) => s + w, 0);
    };
    const whole = hours.reduce((s, h) => s + (h.lostShare < 1 ? h.usableSec / (1 - h.lostShare) : HOUR_SEC), 0);
    return { track, recorder: hours[0].recorder, usableSec, lostShare: whole > 0 ? 1 - usableSec / whole : NaN, floorDb: weigh((h) => h.noiseFloorDb), gainDb: input.run.gainsDb?.[track] ?? weigh((h) => h.gainDb) };
  });
}

function tabulate(input: ReportInput): string {
  const rows = summariseTracks(input).map((t) => {
    const count = (kind: SoundRow['kind']): string => String(input.sounds.filter((s) => s.kind === kind && s.track === t.track).length);
    return [t.track, t.recorder, showDuration(t.usableSec), showPercent(t.lostShare), showNumber(t.floorDb, 1), showNumber(t.gainDb, 1), count('dropout'), count('body'), count('breakthrough'), count('room'), count('unsure')];
  });
  return table(['track', 'recorder', 'usable', 'lost', 'noise floor dB', 'gain dB', 'dropouts', 'body noise', 'breakthrough', 'room noise', 'caller unsure'], rows,
    { caption: 'Gain: against the mean of all receivers, found from crosstalk. The five columns at the right count what was heard and is no call of a known caller; sounds whose caller is unsure stand at the likeliest bird.', left: [1] });
}

function dataOf(hours: readonly TrackHourRow[]): string {
  // Two weeks of sixteen birds are 5400 rows; the table itself is beside the report.
  if (!hours.length || hours.length > 800) return '';
  return dataLink('usable-time.csv', ['track', 'start_s', 'usable_s', 'lost_share'], hours.map((h) => [h.track, h.startSec.toFixed(0), h.usableSec.toFixed(3), h.lostShare.toFixed(4)]));
}
