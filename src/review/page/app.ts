import { Actions, nameBird } from './actions.js';
import { fill, h } from './dom.js';
import { Inspector } from './inspector.js';
import { attachKeys, buildHelp } from './keys.js';
import { Player } from './player.js';
import { attachPointer } from './pointer.js';
import type { Item } from './review-state.js';
import { ReviewState } from './review-state.js';
import type { ReviewSource } from './source.js';
import { Stage } from './stage.js';
import { Strip } from './strip.js';
import { Tabs } from './tabs.js';
import { applyChoice, readChoice } from './theme.js';
import type { ThemeChoice } from './theme.js';
import { parseClock } from './time-text.js';
import type { CallFilter } from './view-calls.js';
import { listViews } from './views.js';
import { VerifyPanel } from './verify-panel.js';
import { Viewport } from './viewport.js';
import { WorkerCrew } from './worker-crew.js';

/** At the start so much is shown: long enough to see, short enough for spectra. */
const FIRST_SPAN_SEC = 8;
const CLOSEST_SPAN_SEC = 0.02;

/** The page of a study: everything that is on the screen and how it hangs together. */
export class App {
  readonly state: ReviewState;
  readonly view: Viewport;
  readonly player: Player;
  readonly actions: Actions;
  readonly stage: Stage;
  /** What the view of calls lists. */
  callFilter: CallFilter = {};
  private readonly inspector: Inspector;
  private readonly verify: VerifyPanel;
  private readonly strip: Strip;
  private readonly tabs: Tabs;
  private readonly crew: WorkerCrew;
  private readonly help = buildHelp();
  private readonly gutter = h('div', { class: 'gutter', role: 'group', 'aria-label': 'Tracks' });
  private readonly voice = h('div', { class: 'voice', role: 'status', 'aria-live': 'polite' });
  private readonly saved = h('span', { class: 'saved', role: 'status' });
  private readonly transport = h('span', { class: 'transport' });
  private quiet?: ReturnType<typeof setTimeout>;

  constructor(root: HTMLElement, source: ReviewSource, workerSource: string) {
    const { info } = source;
    this.state = new ReviewState(source);
    this.view = new Viewport(info.durationSec, Math.min(CLOSEST_SPAN_SEC, info.durationSec));
    this.crew = new WorkerCrew(workerSource, { kernels: source.kernels, info, place: source.place }, Math.max(2, Math.min(4, (navigator.hardwareConcurrency || 2) - 1)));
    this.player = new Player(info, this.crew, () => this.refresh());
    this.actions = new Actions(this.state, this.view, this.player);
    const isHidden = (item: Item): boolean => this.verify.hides(item);
    this.stage = new Stage({ state: this.state, view: this.view, crew: this.crew, isHidden, playhead: () => this.player.position(), onMove: () => this.strip.draw() });
    this.inspector = new Inspector(this.state, this.actions, this.crew, () => this.stage.theme, isHidden);
    this.verify = new VerifyPanel(this.state, this.actions, () => this.refresh());
    this.strip = new Strip(this.state, this.view, () => this.stage.theme, () => this.actions.moved());
    this.tabs = new Tabs(listViews(this), (id) => this.onView(id));
    this.build(root);
    this.connect();
    this.view.widthPx = Math.max(1, this.stage.element.clientWidth);
    this.view.show(this.chooseStart(), Math.min(FIRST_SPAN_SEC, info.durationSec));
    this.refresh();
  }

  get isOnTracks(): boolean {
    return this.tabs.current === 'tracks';
  }

  show(id: string): void {
    this.tabs.open(id);
  }

  /** To a moment of the tracks, from any view. */
  showMoment(sec: number, spanSec?: number): void {
    this.tabs.open('tracks');
    this.view.show(sec - (spanSec ?? this.view.spanSec) / 2, spanSec ?? this.view.spanSec);
    this.actions.moved();
    this.focusTracks();
  }

  /** The list of calls behind a number. */
  showCalls(filter: CallFilter): void {
    this.callFilter = filter;
    this.tabs.open('calls');
  }

  showCall(item: Item): void {
    this.tabs.open('tracks');
    if (this.view.spanSec > 30) this.view.show(item.onsetSec - 4, 8);
    this.actions.select(item);
    this.focusTracks();
  }

  showHelp(): void {
    if (this.help.open) this.help.close();
    else this.help.showModal();
  }

  toggleVerify(): void {
    this.tabs.open('tracks');
    this.verify.toggle();
    this.refresh();
  }

  toggleHidden(): void {
    this.verify.toggleHidden();
    this.refresh();
  }

  focusKind(): void {
    if (this.state.selected) this.inspector.kind.focus();
  }

  focusTracks(): void {
    this.stage.canvas.focus({ preventScroll: true });
  }

  escape(): void {
    this.player.stop();
    if (!this.isOnTracks) this.tabs.open('tracks');
    else this.state.select(undefined);
    this.focusTracks();
  }

  changeContrast(byDb: number): void {
    this.stage.rangeDb = Math.max(18, Math.min(72, this.stage.rangeDb + byDb));
    this.stage.restyle();
    this.actions.say(`Contrast: ${this.stage.rangeDb} dB from floor to full.`);
  }

  nextTheme(): void {
    const order: ThemeChoice[] = ['auto', 'light', 'dark'];
    const next = order[(order.indexOf(readChoice()) + 1) % 3];
    applyChoice(next);
    this.restyle();
    this.actions.say(next === 'auto' ? 'Colours as the computer has them.' : `Colours: ${next}.`);
  }

  askTime(): void {
    const field = h('input', { id: 'goto', inputMode: 'decimal', autocomplete: 'off' });
    const dialog = h('dialog', { class: 'ask', 'aria-labelledby': 'goto-label', onclose: () => { dialog.remove(); this.focusTracks(); } });
    const form = h('form', { method: 'dialog', onsubmit: () => {
      const sec = parseClock(field.value);
      if (sec === undefined) this.actions.say('A time is seconds or h:mm:ss.');
      else this.actions.goTo(sec);
    } }, h('label', { for: 'goto', id: 'goto-label' }, 'Go to (seconds or h:mm:ss)'), field, h('button', { class: 'good' }, 'Go'));
    dialog.append(form);
    document.body.append(dialog);
    dialog.showModal();
  }

  private chooseStart(): number {
    const first = this.state.items[0];
    return first ? Math.max(0, first.onsetSec - 1) : 0;
  }

  private build(root: HTMLElement): void {
    const { info } = this.state.source;
    const icon = (text: string, label: string, run: () => void): HTMLElement => h('button', { class: 'icon', title: label, 'aria-label': label, onclick: run }, text);
    const header = h('header', { class: 'top' },
      h('h1', {}, h('span', { class: 'mark' }, 'volary'), h('span', { class: 'study' }, info.name)), this.tabs.list,
      h('div', { class: 'state' }, this.transport, this.saved, ...(this.state.source.saveAll ? [h('button', { class: 'good', onclick: () => void this.saveAll() }, 'Save tables')] : []),
        icon('◐', 'Light or dark', () => this.nextTheme()), icon('?', 'Keys', () => this.showHelp())));
    const tracks = h('div', { class: 'bench' }, this.verify.element, this.gutter, this.stage.element, this.inspector.element, this.strip.element);
    this.tabs.fill('tracks', tracks);
    info.tracks.forEach((t, j) => this.gutter.append(h('button', { class: 'track', 'aria-pressed': 'false', onclick: () => { this.state.chooseTrack(j); this.focusTracks(); } },
      h('kbd', { 'aria-hidden': 'true' }, j < 18 ? String((j % 9) + 1) : ''), h('span', {}, nameBird(t.bird)), h('small', {}, info.recorders.length > 1 ? t.recorder : ''))));
    fill(root, header, h('main', {}, ...this.tabs.panels), this.voice, this.help);
  }

  private connect(): void {
    this.actions.say = (text) => {
      this.voice.textContent = text;
      this.voice.classList.add('shown');
      clearTimeout(this.quiet);
      this.quiet = setTimeout(() => this.voice.classList.remove('shown'), 3200);
    };
    this.actions.moved = () => { this.stage.invalidate(); this.strip.draw(); };
    this.actions.answered = (item) => this.verify.answered(item);
    this.state.onChange((what) => {
      if (what === 'refused') this.actions.say(`Taken back, the review does not take it: ${this.state.refusal}`);
      this.refresh();
    });
    attachPointer(this.stage, this.view, this.state, this.actions);
    attachKeys(this, this.actions);
    matchMedia('(prefers-color-scheme: dark)').addEventListener('change', () => this.restyle());
    addEventListener('beforeunload', (e) => { if (this.state.unsaved) e.preventDefault(); });
  }

  private restyle(): void {
    this.stage.restyle();
    this.tabs.refresh();
    this.refresh();
  }

  private onView(id: string): void {
    if (id !== 'tracks') this.player.stop();
    else this.actions.moved();
  }

  private refresh(): void {
    const { state, player } = this;
    this.inspector.update();
    this.verify.update();
    this.strip.draw();
    this.stage.invalidate();
    [...this.gutter.children].forEach((child, j) => child.setAttribute('aria-pressed', String(j === state.track)));
    const speed = player.speed === 1 ? '' : `1/${1 / player.speed} speed`;
    this.transport.textContent = [player.isPlaying ? '▶ playing' : '', speed, player.useVoices ? 'separated' : ''].filter(Boolean).join(' · ');
    document.body.dataset.playing = String(player.isPlaying);
    this.saved.className = `saved ${state.failure || state.refusal ? 'bad' : ''}`;
    this.saved.textContent = this.saved.title = describeSaving(state);
    document.body.dataset.saved = String(state.unsaved === 0);
  }

  private async saveAll(): Promise<void> {
    try {
      this.actions.say(await this.state.source.saveAll!(this.state.labels));
    } catch (error) {
      this.actions.say(`Not saved: ${(error as Error).message}`);
    }
  }
}

/** Where the answers are; only what is on the disk is called saved. */
function describeSaving({ failure, refusal, unsaved, isLinked, savedCount, source }: ReviewState): string {
  const count = (n: number): string => `${n} ${n === 1 ? 'answer' : 'answers'}`;
  if (failure) return `${count(unsaved)} not saved yet: ${failure}`;
  if (!isLinked) return 'the review has ended: start it again';
  if (refusal) return `taken back: ${refusal}`;
  if (unsaved) return 'saving…';
  return savedCount ? `${count(savedCount)} ${source.keeps}` : '';
}
