import { chooseStep, formatClock } from './time-text.js';
import type { Theme } from './theme.js';
import type { TileCache } from './tile-cache.js';
import type { Viewport } from './viewport.js';

/** Where everything lies on the stage, CSS pixels. */
export interface StageLayout {
  widthPx: number;
  heightPx: number;
  axisPx: number;
  /** Height of a track: its lane of calls and its picture. */
  rowPx: number;
  lanePx: number;
  trackCount: number;
  ratio: number;
}

export const rowTop = (l: StageLayout, track: number): number => l.axisPx + track * l.rowPx;

/** Lays out the rows: they share the height there is. */
export function layOut(widthPx: number, heightPx: number, trackCount: number, ratio: number): StageLayout {
  const axisPx = 26;
  const rowPx = Math.max(20, (heightPx - axisPx) / trackCount);
  return { widthPx, heightPx, axisPx, rowPx, lanePx: Math.round(Math.max(7, Math.min(15, rowPx * 0.2))), trackCount, ratio };
}

/** Spectrograms of all tracks; where a tile is still being made, the nearest coarser or finer one stands in. Returns false while tiles are missing. */
export function drawTracks(context: CanvasRenderingContext2D, layout: StageLayout, view: Viewport, tiles: TileCache, rows: number, theme: Theme): boolean {
  const { widthPx, heightPx, ratio } = layout;
  context.setTransform(ratio, 0, 0, ratio, 0, 0);
  context.fillStyle = theme.paper;
  context.fillRect(0, 0, widthPx, heightPx);
  const hop = tiles.chooseHop(view.secPerPx / ratio);
  const span = tiles.tileSec(hop);
  let isWhole = true;
  for (let index = Math.max(0, Math.floor(view.startSec / span)); index * span < view.endSec; index++) {
    const bitmap = tiles.get(hop, index);
    if (bitmap) drawTile(context, layout, view, bitmap, rows, index * span, span, index * span, span);
    else {
      isWhole = false;
      drawStandIn(context, layout, view, tiles, rows, hop, index * span, span);
    }
  }
  tiles.want(hop, view.startSec, view.endSec);
  return isWhole;
}

function drawStandIn(context: CanvasRenderingContext2D, layout: StageLayout, view: Viewport, tiles: TileCache, rows: number, hop: number, fromSec: number, spanSec: number): void {
  for (let coarse = hop * 2; coarse <= hop * 64; coarse *= 2) {
    const span = tiles.tileSec(coarse);
    const index = Math.floor(fromSec / span + 1e-9);
    const bitmap = tiles.get(coarse, index);
    if (bitmap) return drawTile(context, layout, view, bitmap, rows, index * span, span, fromSec, spanSec);
  }
  const half = spanSec / 2;
  for (let k = 0; k < 2; k++) {
    const bitmap = tiles.get(hop / 2, Math.round(fromSec / half) + k);
    if (bitmap) drawTile(context, layout, view, bitmap, rows, fromSec + k * half, half, fromSec + k * half, half);
  }
}

/** Draws the part [fromSec, fromSec + lengthSec) of a tile, one strip per track. */
function drawTile(
  context: CanvasRenderingContext2D, layout: StageLayout, view: Viewport, bitmap: ImageBitmap, rows: number, tileSec: number, tileSpanSec: number, fromSec: number, lengthSec: number,
): void {
  const { rowPx, lanePx, trackCount, ratio } = layout;
  const sourceX = ((fromSec - tileSec) / tileSpanSec) * bitmap.width;
  const sourceWidth = (lengthSec / tileSpanSec) * bitmap.width;
  // Edges on whole device pixels, so that tiles meet without a seam.
  const snap = (px: number): number => Math.round(px * ratio) / ratio;
  const left = snap(view.toPx(fromSec));
  const right = snap(view.toPx(fromSec + lengthSec));
  for (let j = 0; j < trackCount; j++) {
    const top = snap(rowTop(layout, j) + lanePx);
    const bottom = snap(rowTop(layout, j) + rowPx) - 1;
    context.drawImage(bitmap, sourceX, j * rows, sourceWidth, rows, left, top, right - left, bottom - top);
  }
}

/** Time axis: marks with clock times, finer ticks between. */
export function drawAxis(context: CanvasRenderingContext2D, layout: StageLayout, view: Viewport, theme: Theme): void {
  const { widthPx, axisPx, heightPx } = layout;
  const step = chooseStep(view.secPerPx, 96);
  const decimals = step >= 1 ? 0 : step >= 0.1 ? 1 : step >= 0.01 ? 2 : 3;
  context.fillStyle = theme.panel;
  context.fillRect(0, 0, widthPx, axisPx);
  context.font = '12px system-ui, sans-serif';
  context.textBaseline = 'middle';
  context.fillStyle = theme.soft;
  for (let k = Math.floor(view.startSec / step); k * step <= view.endSec; k++) {
    const x = Math.round(view.toPx(k * step)) + 0.5;
    context.globalAlpha = 1;
    context.fillText(formatClock(k * step, decimals), x + 5, axisPx / 2);
    context.fillRect(x, axisPx - 8, 1, 8);
    context.globalAlpha = 0.09;
    context.fillRect(x, axisPx, 1, heightPx - axisPx);
    context.globalAlpha = 0.6;
    for (let t = 1; t < 5; t++) context.fillRect(Math.round(view.toPx((k + t / 5) * step)) + 0.5, axisPx - 4, 1, 4);
  }
  context.globalAlpha = 1;
}
