import type { CallRow, LabelRow, SoundRow } from '../schema/rows.js';
import { NO_TAG, NO_TAG_LABEL } from './bird-order.js';
import { drawHatch } from './hatch.js';
import type { ExcerptPicture, TrackPicture } from './report-input.js';
import { createScale, drawBottomAxis, findTimeTicks } from './scale.js';
import type { Scale } from './scale.js';
import { box, element, fittedLabel, label, line, picture, tip } from './svg.js';
import { shorten, showNumber, showProbability } from './text.js';

export interface ExcerptContent {
  excerpt: ExcerptPicture;
  calls: readonly CallRow[];
  sounds: readonly SoundRow[];
  labels?: readonly LabelRow[];
}

const LEFT = 112;
const WIDTH = 980;
const TOP = 22;
/** Strip over a track with the calls' probabilities, the picture of the track, and the strip under it. */
const OVER = 15;
const UNDER = 11;
const GAP = 6;

interface Row { name: string; bird: string; y: number; height: number; picture?: TrackPicture }

/** All tracks of a stretch, one above the other on one time axis, with every call over its bird's track. */
export function drawExcerpt(content: ExcerptContent): string {
  const { excerpt } = content;
  const x = createScale(excerpt.startSec, excerpt.endSec, LEFT, LEFT + WIDTH);
  const rows = layRows(excerpt);
  const bottom = rows[rows.length - 1].y + rows[rows.length - 1].height + UNDER + 4;
  const ticks = findTimeTicks(excerpt.startSec, excerpt.endSec, 11);
  const axis = drawBottomAxis(x, bottom, { title: `time since the study's start, ${ticks.unit}`, at: ticks.values, format: ticks.format });
  const seen = (r: { onsetSec: number; offsetSec: number }): boolean => r.offsetSec > excerpt.startSec && r.onsetSec < excerpt.endSec;
  const calls = content.calls.filter(seen);
  const parts = rows.map((row) => drawRow(row, x, excerpt, {
    calls, sounds: content.sounds.filter((s) => seen(s) && s.track === row.bird), labels: content.labels?.filter((l) => seen(l) && l.bird === row.bird),
  }));
  const about = `Spectrograms of ${excerpt.tracks.length} tracks from ${showNumber(excerpt.startSec, 1)} to ${showNumber(excerpt.endSec, 1)} s with ${calls.length} attributed calls`;
  return picture(LEFT + WIDTH + 12, bottom + 42, about, ...parts, axis);
}

function layRows(excerpt: ExcerptPicture): Row[] {
  const height = excerpt.tracks.length <= 6 ? 66 : excerpt.tracks.length <= 10 ? 52 : 40;
  const rows: Row[] = excerpt.tracks.map((p, i) => ({ name: p.track, bird: p.track, y: TOP + i * (OVER + height + UNDER + GAP) + OVER, height, picture: p }));
  const last = rows[rows.length - 1];
  rows.push({ name: NO_TAG_LABEL, bird: NO_TAG, y: (last ? last.y + last.height + UNDER + GAP : TOP) + OVER, height: 4 });
  return rows;
}

function drawRow(row: Row, x: Scale, excerpt: ExcerptPicture, content: { calls: readonly CallRow[]; sounds: readonly SoundRow[]; labels?: readonly LabelRow[] }): string {
  const parts = [fittedLabel(shorten(row.name, 16), LEFT - 28, { class: 'name', x: LEFT - 26, y: row.y + row.height / 2 + 4, 'text-anchor': 'end' })];
  if (row.picture) {
    parts.push(element('image', { class: 'spec', x: LEFT, y: row.y, width: WIDTH, height: row.height, preserveAspectRatio: 'none', href: row.picture.png }));
    parts.push(box(LEFT, row.y, WIDTH, row.height, 'frame'), drawFrequencies(row, excerpt, row.bird === excerpt.tracks[0].track));
  } else {
    parts.push(line(LEFT, row.y + row.height, LEFT + WIDTH, row.y + row.height, 'grid'));
  }
  for (const sound of content.sounds) parts.push(drawSound(sound, row, x));
  parts.push(...drawCalls(content.calls, row, x));
  for (const l of content.labels ?? []) {
    const [from, to] = clip(l, x);
    parts.push(box(from, row.y + row.height + 2, Math.max(1.5, to - from), 3, 'label-mark', tip(`labelled call ${showNumber(l.onsetSec, 3)} to ${showNumber(l.offsetSec, 3)} s`)));
  }
  return element('g', {}, ...parts);
}

function drawFrequencies(row: Row, excerpt: ExcerptPicture, isFirst: boolean): string {
  const y = createScale(excerpt.lowHz, excerpt.highHz, row.y + row.height, row.y);
  const step = excerpt.highHz > 8000 ? 4000 : excerpt.highHz > 3000 ? 2000 : 1000;
  const parts: string[] = [];
  for (let f = 0; f <= excerpt.highHz; f += step) {
    if (f < excerpt.lowHz) continue;
    parts.push(line(LEFT - 4, y(f), LEFT, y(f), 'axis'), label(`${f / 1000}`, { class: 'tiny', x: LEFT - 7, y: y(f) + 3.5, 'text-anchor': 'end' }));
  }
  if (isFirst) parts.push(label('kHz', { class: 'tiny', x: LEFT - 7, y: row.y - 5, 'text-anchor': 'end' }));
  return parts.join('');
}

function drawSound(sound: SoundRow, row: Row, x: Scale): string {
  const [from, to] = clip(sound, x);
  const width = Math.max(2, to - from);
  const under = row.y + row.height + 6;
  const names = { dropout: 'link lost', body: 'body noise', breakthrough: `breakthrough from ${sound.source}`, room: 'noise of the room', unsure: `probably a call of ${sound.track} or ${sound.source}` };
  const title = tip(`${names[sound.kind]} ${showNumber(sound.onsetSec, 3)} to ${showNumber(sound.offsetSec, 3)} s`);
  if (sound.kind === 'dropout') return drawHatch(from, row.y, width, row.height, 'lost', title);
  if (sound.kind === 'body') return box(from, under, width, 4, 'body', title);
  if (sound.kind === 'unsure') return box(from, row.y + 2, width, row.height - 4, 'unsure', title);
  return box(from, under + 0.5, width, 3, sound.kind === 'room' ? 'room-noise' : 'through', title);
}

/** Calls over their bird's track; those of callers without a tag in their own row and, dashed, on the track that heard them best. */
function drawCalls(calls: readonly CallRow[], row: Row, x: Scale): string[] {
  const parts: string[] = [];
  const own: { call: CallRow; from: number; to: number }[] = [];
  for (const call of calls) {
    const isOwn = call.bird === row.bird;
    const isGuest = call.bird === NO_TAG && call.track === row.bird;
    if (!isOwn && !isGuest) continue;
    const [from, to] = clip(call, x);
    const width = Math.max(2, to - from);
    if (row.picture) {
      const kind = isGuest ? 'notag' : 'call';
      parts.push(box(from, row.y, width, row.height, 'halo-edge'), box(from, row.y, width, row.height, `${kind}-wash`), box(from, row.y, width, row.height, `${kind}-edge`, tip(describeCall(call))));
    }
    if (!isOwn) continue;
    parts.push(drawProbability(call, from, width, row));
    own.push({ call, from, to: from + width });
  }
  // A certain call needs no number, and a number needs room before the next call.
  own.forEach(({ call, to }, i) => {
    const text = showProbability(call.probability);
    const endsAt = to + 3 + 6.2 * text.length;
    if (call.probability < 0.995 && endsAt < Math.min(own[i + 1]?.from ?? Infinity, LEFT + WIDTH + 10)) parts.push(label(text, { class: 'small', x: to + 3, y: row.y - 3.5 }));
  });
  return parts;
}

/** A small box over the call, filled from below as high as its probability. */
function drawProbability(call: CallRow, from: number, width: number, row: Row): string {
  const high = OVER - 4;
  const top = row.y - high - 1;
  const full = high * Math.min(1, Math.max(0, call.probability));
  const isFree = call.bird === NO_TAG;
  const fill = isFree ? drawHatch(from, top + high - full, width, full, 'notag') : box(from, top + high - full, width, full, 'call');
  return element('g', {}, tip(describeCall(call)), fill, box(from, top, width, high, isFree ? 'notag-edge' : 'call-edge'));
}

export function describeCall(call: CallRow): string {
  const next = call.runnerUp && call.runnerUpProbability > 0.005 ? `, else ${call.runnerUp === NO_TAG ? NO_TAG_LABEL : call.runnerUp} ${showProbability(call.runnerUpProbability)}` : '';
  const who = call.bird === NO_TAG ? `a caller without a tag, heard best by ${call.track}` : call.bird;
  return `call ${call.callId}: ${who}, ${showNumber(call.onsetSec, 3)} to ${showNumber(call.offsetSec, 3)} s, probability ${showProbability(call.probability, 3)}${next}`;
}

function clip(r: { onsetSec: number; offsetSec: number }, x: Scale): [number, number] {
  return [x(Math.max(x.low, r.onsetSec)), x(Math.min(x.high, r.offsetSec))];
}

/** What the marks mean, as a list that wraps with the page. */
export function writeExcerptLegend(hasLabels: boolean): string {
  const items: [string, string][] = [
    [box(1, 1, 14, 14, 'call-edge') + box(1, 5, 14, 10, 'call'), 'call of the wearer, the box filled as high as its probability (written where below 0.995)'],
    [drawHatch(1, 2, 15, 12, 'notag'), 'caller without a tag, dashed on the track that heard it best'],
    [drawHatch(1, 1, 15, 14, 'lost'), 'link lost'],
    [box(1, 7, 15, 4, 'body'), 'body noise'],
    [box(1, 7, 15, 3, 'through'), 'breakthrough'],
    [box(1, 7, 15, 3, 'room-noise'), 'room noise'],
    [box(1, 1, 14, 14, 'unsure'), 'probably a call of one of two birds, neither of them sure'],
  ];
  if (hasLabels) items.push([box(1, 7, 15, 3, 'label-mark'), 'labelled call']);
  return `<ul class="legend">${items.map(([mark, text]) => `<li>${element('svg', { viewBox: '0 0 17 17', 'aria-hidden': 'true' }, mark)}${text}</li>`).join('')}</ul>\n`;
}
