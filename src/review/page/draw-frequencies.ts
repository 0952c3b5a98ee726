import { rowTop } from './draw-tracks.js';
import type { StageLayout } from './draw-tracks.js';
import type { Theme } from './theme.js';

const STEPS_KHZ = [0.1, 0.2, 0.5, 1, 2, 4, 5, 10, 20, 25, 50, 100];
const MOST_MARKS = 3;
/** Height of a label with air, CSS pixels. */
const LABEL_PX = 13;

/** Round frequencies, kHz, for a picture from 0 to `topHz`: three at most, as many as there is room for. */
export function chooseFrequencies(topHz: number, heightPx: number): number[] {
  const pxPerKhz = (1000 * heightPx) / topHz;
  // Half a label must fit above the highest mark.
  const lastKhz = topHz / 1000 - LABEL_PX / 2 / pxPerKhz;
  const most = Math.min(MOST_MARKS, Math.floor(heightPx / LABEL_PX));
  for (const step of STEPS_KHZ) {
    const count = Math.floor(lastKhz / step + 1e-9);
    // One label needs half its height below it, several a whole one between them.
    if (count <= most && step * pxPerKhz >= (count > 1 ? LABEL_PX : LABEL_PX / 2)) return Array.from({ length: Math.max(0, count) }, (_, k) => Number(((k + 1) * step).toFixed(1)));
  }
  return [];
}

/** Frequencies at the left edge of every picture: short ticks and small letters with a rim of paper, which can be read over any colour. */
export function drawFrequencies(context: CanvasRenderingContext2D, layout: StageLayout, topHz: number, theme: Theme): void {
  const { rowPx, lanePx, trackCount } = layout;
  const heightPx = rowPx - lanePx - 1;
  const marks = chooseFrequencies(topHz, heightPx);
  context.font = '10px system-ui, sans-serif';
  context.textBaseline = 'middle';
  context.lineJoin = 'round';
  context.lineWidth = 3;
  context.strokeStyle = theme.halo;
  for (let j = 0; j < trackCount; j++) {
    for (const khz of marks) {
      const y = Math.round(rowTop(layout, j) + lanePx + heightPx * (1 - (1000 * khz) / topHz));
      context.fillStyle = theme.halo;
      context.fillRect(0, y - 1, 6, 3);
      context.strokeText(`${khz} kHz`, 8, y + 0.5);
      context.fillStyle = theme.ink;
      context.fillRect(0, y, 5, 1);
      context.fillText(`${khz} kHz`, 8, y + 0.5);
    }
  }
}
