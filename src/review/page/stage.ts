import type { SoundRow } from '../../schema/rows.js';
import { drawAxis, drawTracks, layOut, rowTop } from './draw-tracks.js';
import type { StageLayout } from './draw-tracks.js';
import { drawCalls } from './draw-calls.js';
import { drawFrequencies } from './draw-frequencies.js';
import { h } from './dom.js';
import type { Item, ReviewState } from './review-state.js';
import { readTheme } from './theme.js';
import type { Theme } from './theme.js';
import { TileCache } from './tile-cache.js';
import type { Viewport } from './viewport.js';
import type { WorkerCrew } from './worker-crew.js';

export interface StageOptions {
  state: ReviewState;
  view: Viewport;
  crew: WorkerCrew;
  isHidden: (item: Item) => boolean;
  /** Seconds at which sound is heard now, by track; undefined in silence. */
  playhead: () => { sec: number; track: number } | undefined;
  onMove: () => void;
}

/** The stacked tracks: spectrograms below, calls above, one frame at a time. */
export class Stage {
  readonly element: HTMLElement;
  readonly canvas = h('canvas', { class: 'tracks', tabIndex: 0, role: 'application', 'aria-label': 'Spectrograms of all tracks with the calls over them. Question mark shows the keys.' });
  layout: StageLayout;
  theme: Theme = readTheme();
  rangeDb = 42;
  /** A stretch that is being drawn for a new call, or the edges of one that are being moved. */
  draft?: { track: number; fromSec: number; toSec: number };
  private readonly base = this.canvas.getContext('2d', { alpha: false })!;
  private readonly tiles: TileCache;
  private readonly sounds: SoundRow[];
  private readonly longestSoundSec: number;
  private rows = 96;
  private isDirty = false;

  constructor(private readonly options: StageOptions) {
    const { info, sounds } = options.state.source;
    this.layout = layOut(100, 100, info.tracks.length, 1);
    this.tiles = new TileCache(options.crew, info.sampleRateHz, info.durationSec, info.tracks.length, () => this.invalidate());
    this.sounds = [...sounds].sort((a, b) => a.onsetSec - b.onsetSec);
    this.longestSoundSec = sounds.reduce((most, s) => Math.max(most, s.offsetSec - s.onsetSec), 0);
    this.element = h('div', { class: 'stage' }, this.canvas);
    new ResizeObserver(() => this.resize()).observe(this.element);
    options.crew.run({ kind: 'floor' }, -1).then((floor) => { this.tiles.setFloor(floor); this.invalidate(); }, (error: unknown) => console.warn(error));
  }

  /** Highest frequency shown, Hz. */
  get topHz(): number {
    const { bandHz, sampleRateHz } = this.options.state.source.info;
    return Math.min(sampleRateHz / 2, bandHz[1] * 1.08);
  }

  invalidate(): void {
    if (this.isDirty) return;
    this.isDirty = true;
    requestAnimationFrame(() => this.frame());
  }

  /** Reads the colours anew, after the theme or the contrast has changed. */
  restyle(): void {
    this.theme = readTheme();
    this.applyLook();
    this.invalidate();
  }

  trackAt(yPx: number): number {
    return Math.max(0, Math.min(this.layout.trackCount - 1, Math.floor((yPx - this.layout.axisPx) / this.layout.rowPx)));
  }

  /** The call under a point: on its own track first, then one whose copy lies there. */
  itemAt(xPx: number, yPx: number): Item | undefined {
    const { state, view } = this.options;
    const sec = view.toSec(xPx);
    const slack = 3 * view.secPerPx;
    const track = this.trackAt(yPx);
    const [first, end] = state.findRange(sec - slack, sec + slack);
    const here = state.items.slice(first, end).filter((i) => i.onsetSec - slack <= sec && i.offsetSec + slack >= sec);
    const near = (a: Item, b: Item): number => Math.abs(a.onsetSec + a.offsetSec - 2 * sec) - Math.abs(b.onsetSec + b.offsetSec - 2 * sec);
    return here.filter((i) => i.track === track).sort(near)[0] ?? here.sort(near)[0];
  }

  private resize(): void {
    const { clientWidth: width, clientHeight: height } = this.element;
    if (!width || !height) return;
    const ratio = Math.min(2, devicePixelRatio || 1);
    this.layout = layOut(width, height, this.layout.trackCount, ratio);
    this.canvas.width = Math.round(width * ratio);
    this.canvas.height = Math.round(height * ratio);
    this.element.style.setProperty('--row', `${this.layout.rowPx}px`);
    this.options.view.resize(width);
    this.applyLook();
    this.options.onMove();
    this.invalidate();
  }

  private applyLook(): void {
    const inPicture = (this.layout.rowPx - this.layout.lanePx) * this.layout.ratio;
    this.rows = Math.max(24, Math.min(192, Math.ceil(inPicture / 24) * 24));
    this.tiles.setLook({ colours: this.theme.spectrum, rangeDb: this.rangeDb, rows: this.rows, topHz: this.topHz });
  }

  private frame(): void {
    this.isDirty = false;
    const { view, state, isHidden, playhead } = this.options;
    const isMoving = view.step();
    const head = playhead();
    drawTracks(this.base, this.layout, view, this.tiles, this.rows, this.theme);
    drawFrequencies(this.base, this.layout, this.topHz, this.theme);
    drawCalls(this.base, this.layout, view, { state, isHidden, sounds: this.soundsIn(view.startSec, view.endSec) }, this.theme);
    drawAxis(this.base, this.layout, view, this.theme);
    this.drawDraft();
    if (head) this.drawHead(head);
    if (isMoving) this.options.onMove();
    if (isMoving || head) this.invalidate();
  }

  private drawHead(head: { sec: number; track: number }): void {
    const { base, layout, theme } = this;
    const x = this.options.view.toPx(head.sec);
    base.fillStyle = theme.select;
    base.fillRect(x - 0.75, layout.axisPx, 1.5, layout.heightPx);
    base.beginPath();
    base.arc(x, rowTop(layout, head.track) + layout.rowPx / 2, 4, 0, 7);
    base.fill();
  }

  private drawDraft(): void {
    const { base, draft, layout, theme } = this;
    if (!draft) return;
    const { view } = this.options;
    const [left, right] = [view.toPx(Math.min(draft.fromSec, draft.toSec)), view.toPx(Math.max(draft.fromSec, draft.toSec))];
    base.fillStyle = theme.select;
    base.globalAlpha = 0.22;
    base.fillRect(left, rowTop(layout, draft.track), Math.max(1, right - left), layout.rowPx);
    base.globalAlpha = 1;
    base.fillRect(left, rowTop(layout, draft.track), 1.5, layout.rowPx);
    base.fillRect(right - 1.5, rowTop(layout, draft.track), 1.5, layout.rowPx);
  }

  private soundsIn(fromSec: number, toSec: number): SoundRow[] {
    let low = 0;
    let high = this.sounds.length;
    while (low < high) {
      const mid = (low + high) >> 1;
      if (this.sounds[mid].onsetSec < fromSec - this.longestSoundSec) low = mid + 1; else high = mid;
    }
    let end = low;
    while (end < this.sounds.length && this.sounds[end].onsetSec < toSec) end++;
    return end - low > 4000 ? [] : this.sounds.slice(low, end);
  }
}
