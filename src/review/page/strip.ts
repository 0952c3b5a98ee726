import { h } from './dom.js';
import type { ReviewState } from './review-state.js';
import type { Theme } from './theme.js';
import { formatClock, formatDuration } from './time-text.js';
import type { Viewport } from './viewport.js';

/** The whole study under the tracks: how many calls when, what was heard, and where the screen is. Drag to go there. */
export class Strip {
  readonly element: HTMLElement;
  private readonly canvas = h('canvas', { class: 'whole' });
  private cached?: { key: string; image: HTMLCanvasElement };

  constructor(private readonly state: ReviewState, private readonly view: Viewport, private readonly theme: () => Theme, private readonly onMove: () => void) {
    this.element = h('div', { class: 'strip', role: 'slider', tabIndex: 0, 'aria-label': 'Place in the study', 'aria-valuemin': 0, 'aria-valuemax': Math.round(state.source.info.durationSec) }, this.canvas);
    const go = (e: PointerEvent): void => {
      const box = this.element.getBoundingClientRect();
      const sec = ((e.clientX - box.left) / box.width) * state.source.info.durationSec;
      view.show(sec - view.spanSec / 2, view.spanSec);
      this.onMove();
    };
    this.element.addEventListener('pointerdown', (e) => { this.element.setPointerCapture(e.pointerId); go(e); });
    this.element.addEventListener('pointermove', (e) => { if (e.buttons & 1) go(e); });
    new ResizeObserver(() => this.draw()).observe(this.element);
  }

  draw(): void {
    const { clientWidth: width, clientHeight: height } = this.element;
    if (!width) return;
    const { durationSec } = this.state.source.info;
    const ratio = Math.min(2, devicePixelRatio || 1);
    const theme = this.theme();
    if (this.canvas.width !== Math.round(width * ratio)) {
      this.canvas.width = Math.round(width * ratio);
      this.canvas.height = Math.round(height * ratio);
    }
    const context = this.canvas.getContext('2d')!;
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.drawImage(this.drawWhole(width, height, ratio, theme), 0, 0);
    context.setTransform(ratio, 0, 0, ratio, 0, 0);
    const left = (this.view.startSec / durationSec) * width;
    const right = (this.view.endSec / durationSec) * width;
    context.fillStyle = theme.select;
    context.globalAlpha = 0.16;
    context.fillRect(left, 0, Math.max(2, right - left), height);
    context.globalAlpha = 1;
    context.fillRect(left, 0, 2, height);
    context.fillRect(Math.max(left, right - 2), 0, 2, height);
    this.element.setAttribute('aria-valuenow', String(Math.round(this.view.startSec)));
    this.element.setAttribute('aria-valuetext', `${formatClock(this.view.startSec, 1)}, ${formatDuration(this.view.spanSec)} in view`);
  }

  /** Counts per column, kept until calls, size or colours change. */
  private drawWhole(width: number, height: number, ratio: number, theme: Theme): HTMLCanvasElement {
    const { items, source, labels } = this.state;
    const key = `${width} ${height} ${ratio} ${theme.isDark} ${items.length} ${labels.size} ${this.state.revision}`;
    if (this.cached?.key === key) return this.cached.image;
    const image = document.createElement('canvas');
    image.width = Math.round(width * ratio);
    image.height = Math.round(height * ratio);
    const context = image.getContext('2d')!;
    context.scale(ratio, ratio);
    context.fillStyle = theme.panel;
    context.fillRect(0, 0, width, height);
    const columns = Math.ceil(width / 3);
    const all = new Float32Array(columns);
    const heard = new Float32Array(columns);
    for (const item of items) {
      const c = Math.min(columns - 1, Math.floor((item.onsetSec / source.info.durationSec) * columns));
      all[c]++;
      if (item.status !== 'unheard') heard[c]++;
    }
    const most = all.reduce((m, v) => Math.max(m, v), 1);
    const scale = (height - 6) / most;
    for (let c = 0; c < columns; c++) {
      context.fillStyle = theme.callSoft;
      context.fillRect(c * 3, height - all[c] * scale, 2, all[c] * scale);
      context.fillStyle = theme.good;
      context.fillRect(c * 3, height - heard[c] * scale, 2, heard[c] * scale);
    }
    this.cached = { key, image };
    return image;
  }
}
