import { NO_CALL_HEARD } from '../../score/score-verified.js';
import type { SoundRow } from '../../schema/rows.js';
import { rowTop } from './draw-tracks.js';
import type { StageLayout } from './draw-tracks.js';
import type { Item, ReviewState } from './review-state.js';
import type { Theme } from './theme.js';
import { formatShare } from './time-text.js';
import type { Viewport } from './viewport.js';

export interface CallLook {
  state: ReviewState;
  /** Calls whose table answer is hidden, drawn across all tracks. */
  isHidden: (item: Item) => boolean;
  sounds: readonly SoundRow[];
}

/** Above this many calls in view, columns of counts are drawn instead of boxes. */
const MOST_BOXES = 2500;

/** Calls on the track of their bird, with faint copies where others hear them, and what is selected. */
export function drawCalls(context: CanvasRenderingContext2D, layout: StageLayout, view: Viewport, look: CallLook, theme: Theme): void {
  const { state } = look;
  const [first, end] = state.findRange(view.startSec, view.endSec);
  for (let j = 0; j < layout.trackCount; j++) drawLane(context, layout, j, j === state.track, theme);
  if (end - first > MOST_BOXES) return drawCounts(context, layout, view, state.items, first, end, theme);
  drawSounds(context, layout, view, look.sounds, state, theme);
  for (let i = first; i < end; i++) {
    const item = state.items[i];
    if (item.offsetSec > view.startSec) drawItem(context, layout, view, item, item === state.selected, look.isHidden(item), theme);
  }
}

function drawLane(context: CanvasRenderingContext2D, layout: StageLayout, track: number, isChosen: boolean, theme: Theme): void {
  const top = rowTop(layout, track);
  context.fillStyle = theme.panel;
  context.fillRect(0, top, layout.widthPx, layout.lanePx);
  context.fillStyle = isChosen ? theme.select : theme.rule;
  context.fillRect(0, top, layout.widthPx, isChosen ? 2 : 1);
}

function drawItem(context: CanvasRenderingContext2D, layout: StageLayout, view: Viewport, item: Item, isSelected: boolean, isHidden: boolean, theme: Theme): void {
  const left = view.toPx(item.onsetSec);
  const width = Math.max(2, view.toPx(item.offsetSec) - left);
  const { lanePx, rowPx, trackCount } = layout;
  if (isHidden) {
    context.fillStyle = theme.select;
    context.globalAlpha = isSelected ? 0.16 : 0.06;
    context.fillRect(left, layout.axisPx, width, trackCount * rowPx);
    context.globalAlpha = 1;
    if (isSelected) frame(context, left, layout.axisPx + 1, width, trackCount * rowPx - 2, theme.select, 2, theme);
    return;
  }
  const colour = colourOf(item, theme);
  // Faint copies: what the other microphones heard at that time was this call.
  context.fillStyle = colour;
  context.globalAlpha = isSelected ? 0.5 : 0.22;
  if (item.status !== 'rejected') for (let j = 0; j < trackCount; j++) if (j !== item.track) context.fillRect(left, rowTop(layout, j) + lanePx - 3, width, 2);
  context.globalAlpha = 1;
  if (item.track < 0) return;
  const top = rowTop(layout, item.track) + 3;
  const height = lanePx - 4;
  context.globalAlpha = 0.25;
  context.fillRect(left, top, width, height);
  context.globalAlpha = 1;
  if (item.status === 'rejected') strike(context, left, top, width, height, theme);
  else if (item.row && item.status === 'unheard') fillProbability(context, left, top, width, height, item.probability);
  else context.fillRect(left, top, width, height);
  if (width > 44 && height >= 9) writeProbability(context, item, left, width, top + height / 2, theme);
  if (isSelected) frame(context, left, rowTop(layout, item.track) + 1, width, rowPx - 2, theme.select, 2, theme);
  else if (width > 3) edges(context, left, top + height, width, rowPx - lanePx - 2, colour);
}

/** The bar is filled from below as far as the row is sure. */
function fillProbability(context: CanvasRenderingContext2D, left: number, top: number, width: number, height: number, probability: number): void {
  const filled = Math.max(1, height * probability);
  context.fillRect(left, top + height - filled, width, filled);
}

function writeProbability(context: CanvasRenderingContext2D, item: Item, left: number, width: number, middle: number, theme: Theme): void {
  const words: Record<Item['status'], string> = { unheard: formatShare(item.probability), confirmed: '✓', changed: '✓ changed', added: '✓ added', rejected: item.label?.kind === NO_CALL_HEARD ? 'no call' : item.label?.kind ?? '' };
  const text = width > 90 && item.bird === 'none' && item.status !== 'rejected' ? `no tag ${words[item.status]}` : words[item.status];
  context.font = '600 10px system-ui, sans-serif';
  context.textBaseline = 'middle';
  context.lineWidth = 3;
  context.strokeStyle = theme.halo;
  context.lineJoin = 'round';
  const x = Math.max(4, left + 4);
  if (x + context.measureText(text).width > left + width) return;
  context.strokeText(text, x, middle + 0.5);
  context.fillStyle = theme.ink;
  context.fillText(text, x, middle + 0.5);
}

function colourOf(item: Item, theme: Theme): string {
  if (item.status === 'rejected') return theme.bad;
  if (item.status !== 'unheard') return theme.good;
  return item.bird === 'none' ? theme.noTag : theme.call;
}

function edges(context: CanvasRenderingContext2D, left: number, top: number, width: number, height: number, colour: string): void {
  context.fillStyle = colour;
  context.globalAlpha = 0.55;
  context.fillRect(left, top, 1, height);
  context.fillRect(left + width - 1, top, 1, height);
  context.globalAlpha = 1;
}

function frame(context: CanvasRenderingContext2D, left: number, top: number, width: number, height: number, colour: string, thick: number, theme: Theme): void {
  for (const [stroke, line] of [[theme.halo, thick + 2], [colour, thick]] as const) {
    context.strokeStyle = stroke;
    context.lineWidth = line;
    context.beginPath();
    context.roundRect(left - 1, top, width + 2, height, 3);
    context.stroke();
  }
}

function strike(context: CanvasRenderingContext2D, left: number, top: number, width: number, height: number, theme: Theme): void {
  context.strokeStyle = theme.bad;
  context.lineWidth = 1.5;
  context.beginPath();
  for (let x = left; x < left + width; x += 6) {
    context.moveTo(x, top + height);
    context.lineTo(Math.min(left + width, x + 5), top);
  }
  context.stroke();
}

/** Other sounds under the picture: dotted; where a link was lost the picture is veiled, a call of an unsure caller is outlined. */
function drawSounds(context: CanvasRenderingContext2D, layout: StageLayout, view: Viewport, sounds: readonly SoundRow[], state: ReviewState, theme: Theme): void {
  context.fillStyle = context.strokeStyle = theme.soft;
  for (const sound of sounds) {
    if (sound.offsetSec <= view.startSec || sound.onsetSec >= view.endSec) continue;
    const track = state.source.info.tracks.findIndex((t) => t.bird === sound.track);
    if (track < 0) continue;
    const left = view.toPx(sound.onsetSec);
    const right = Math.max(left + 2, view.toPx(sound.offsetSec));
    const top = rowTop(layout, track);
    if (sound.kind === 'dropout') {
      context.globalAlpha = 0.2;
      context.fillRect(left, top + layout.lanePx, right - left, layout.rowPx - layout.lanePx);
      context.globalAlpha = 1;
    }
    if (sound.kind === 'unsure') context.strokeRect(left, top + layout.lanePx + 1, right - left, layout.rowPx - layout.lanePx - 2);
    for (let x = left; x < right; x += 4) context.fillRect(x, top + layout.lanePx / 2, Math.min(2, right - x), 1.5);
  }
}

function drawCounts(context: CanvasRenderingContext2D, layout: StageLayout, view: Viewport, items: readonly Item[], first: number, end: number, theme: Theme): void {
  const width = Math.ceil(layout.widthPx / 3);
  const counts = new Float32Array(layout.trackCount * width);
  for (let i = first; i < end; i++) {
    const column = Math.floor(view.toPx(items[i].onsetSec) / 3);
    if (items[i].track >= 0 && column >= 0 && column < width) counts[items[i].track * width + column]++;
  }
  const most = counts.reduce((m, v) => Math.max(m, v), 1);
  context.fillStyle = theme.call;
  counts.forEach((count, at) => {
    const height = (count / most) * (layout.rowPx - 4);
    if (count) context.fillRect((at % width) * 3, rowTop(layout, Math.floor(at / width)) + layout.rowPx - 1 - height, 2.5, height);
  });
}
