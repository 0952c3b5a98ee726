import type { Label, SoundKind } from '../labels.js';
import { isRealCall } from '../labels.js';
import { NO_CALL_HEARD } from '../../score/score-verified.js';
import type { Player } from './player.js';
import { LONGEST_PLAY_SEC } from './player.js';
import type { Item, ReviewState } from './review-state.js';
import type { Viewport } from './viewport.js';

/** Shortest call that can be set, seconds. */
const SHORTEST_SEC = 0.002;
/** Sound around a call that is played with it, seconds. */
const AROUND_SEC = 0.06;

/** What a person can do, whether by key, button or pointer. */
export class Actions {
  /** Where the pointer was last, seconds. */
  pointerSec?: number;
  /** Shown to the person and read out by screen readers. */
  say: (text: string) => void = () => undefined;
  moved: () => void = () => undefined;
  /** Called after an answer was given about an item. */
  answered: (item: Item) => void = () => undefined;

  constructor(readonly state: ReviewState, readonly view: Viewport, readonly player: Player) {}

  panBy(share: number): void {
    this.view.glideTo(this.view.goal.startSec + share * this.view.goal.secPerPx * this.view.widthPx);
    this.moved();
  }

  zoomBy(factor: number): void {
    const { goal, widthPx } = this.view;
    const span = goal.secPerPx * widthPx;
    const item = this.state.selected;
    const middle = goal.startSec + span / 2;
    const centre = item && item.onsetSec > goal.startSec && item.offsetSec < goal.startSec + span ? (item.onsetSec + item.offsetSec) / 2 : middle;
    const share = (centre - goal.startSec) / span;
    this.view.glideTo(centre - share * span * factor, span * factor);
    this.moved();
  }

  showAll(): void {
    this.view.glideTo(0, this.state.source.info.durationSec);
    this.moved();
  }

  goTo(sec: number): void {
    this.view.glideTo(sec - this.view.goal.secPerPx * this.view.widthPx / 2);
    this.moved();
  }

  /** Fills the screen with the selected call and a little around it. */
  frameSelected(): void {
    const item = this.state.selected;
    if (!item) return this.say('No call is selected.');
    const length = item.offsetSec - item.onsetSec;
    this.view.glideTo(item.onsetSec - length, length * 3);
    this.moved();
  }

  /** Selects and brings into view. */
  select(item: Item | undefined): void {
    this.state.select(item);
    if (!item) return;
    const { goal, widthPx } = this.view;
    const span = goal.secPerPx * widthPx;
    const isNear = item.onsetSec > goal.startSec + 0.08 * span && item.offsetSec < goal.startSec + 0.92 * span;
    if (!isNear) this.goTo((item.onsetSec + item.offsetSec) / 2);
    this.moved();
  }

  /** The next or previous call that passes a test, from the selected one or the middle of the view. */
  step(direction: 1 | -1, isWanted: (item: Item) => boolean = () => true): void {
    const { items, selected } = this.state;
    const middle = this.view.startSec + this.view.spanSec / 2;
    let i = selected ? items.indexOf(selected) : this.state.firstFrom(middle) - (direction > 0 ? 1 : 0);
    for (i += direction; i >= 0 && i < items.length; i += direction) if (isWanted(items[i])) return this.select(items[i]);
    this.say(direction > 0 ? 'No further call.' : 'No earlier call.');
  }

  playSelected(): void {
    const { selected, track } = this.state;
    if (this.player.isPlaying) return this.player.stop();
    if (!selected) return this.playView();
    void this.listen(selected.track >= 0 ? selected.track : track, selected.onsetSec - AROUND_SEC, selected.offsetSec + AROUND_SEC);
  }

  /** The selected stretch as the chosen track hears it. */
  playOnTrack(): void {
    const { selected, track } = this.state;
    if (this.player.isPlaying) return this.player.stop();
    if (!selected) return this.playView();
    void this.listen(track, selected.onsetSec - AROUND_SEC, selected.offsetSec + AROUND_SEC);
  }

  playView(): void {
    if (this.player.isPlaying) return this.player.stop();
    void this.listen(this.state.track, this.view.startSec, Math.min(this.view.endSec, this.view.startSec + LONGEST_PLAY_SEC));
  }

  changeSpeed(): void {
    this.player.speed = this.player.speed <= 0.125 ? 1 : this.player.speed / 2;
    this.say(this.player.speed === 1 ? 'Full speed.' : `1/${1 / this.player.speed} of the speed.`);
    this.moved();
  }

  toggleVoices(): void {
    if (!this.state.source.info.tracks.some((t) => t.hasVoice)) return this.say('There are no separated voices; volary separate STUDY --calls DIR --out DIR/voices writes them.');
    this.player.useVoices = !this.player.useVoices;
    this.say(this.player.useVoices ? 'Playing separated voices.' : 'Playing the tracks as recorded.');
    this.moved();
  }

  confirm(): void {
    this.judge((item) => ({ kind: item.label && isRealCall(item.label.kind) ? item.label.kind : 'call' }), (item) => `confirmed ${nameBird(item.bird)}`);
  }

  setBird(bird: string): void {
    this.judge((item) => ({ bird, kind: item.label && isRealCall(item.label.kind) ? item.label.kind : 'call' }), () => `set to ${nameBird(bird)}`);
  }

  setKind(kind: SoundKind): void {
    this.judge(() => ({ kind }), () => (kind === NO_CALL_HEARD ? 'not a call' : `set to ${kind}`));
  }

  setNote(note: string): void {
    this.judge(() => ({ note: note.trim() }), () => 'note kept');
  }

  setTimes(onsetSec: number, offsetSec: number): void {
    const onset = Math.max(0, onsetSec);
    this.judge(() => ({ onsetSec: onset, offsetSec: Math.max(onset + SHORTEST_SEC, offsetSec) }), () => 'times changed');
  }

  nudge(end: 'onset' | 'offset', bySec: number): void {
    const item = this.state.selected;
    if (!item) return this.say('No call is selected.');
    if (end === 'onset') this.setTimes(Math.min(item.offsetSec - SHORTEST_SEC, item.onsetSec + bySec), item.offsetSec);
    else this.setTimes(item.onsetSec, item.offsetSec + bySec);
  }

  addCall(track: number, fromSec: number, toSec: number): void {
    const { bird } = this.state.source.info.tracks[track];
    const id = `a${Date.now().toString(36)}${Math.random().toString(36).slice(2, 8)}`;
    const label: Label = { bird, onsetSec: Math.max(0, fromSec), offsetSec: Math.max(toSec, Math.max(0, fromSec) + SHORTEST_SEC), kind: 'call', track: bird, note: '' };
    this.state.change([{ id, label }], 'added a call');
    this.state.select(this.state.get(id));
    this.say(`Added a call of ${nameBird(bird)}.`);
    this.moved();
  }

  /** A call of 100 ms where the pointer is, else in the middle of the view. */
  addHere(): void {
    const { view, pointerSec } = this;
    const isOver = pointerSec !== undefined && pointerSec > view.startSec && pointerSec < view.endSec;
    const middle = isOver ? pointerSec : view.startSec + view.spanSec / 2;
    const half = Math.min(0.05, view.spanSec / 10);
    this.addCall(this.state.track, middle - half, middle + half);
  }

  /** Takes an added call away; a call of the table becomes 'no call'. */
  remove(): void {
    const item = this.state.selected;
    if (!item) return this.say('No call is selected.');
    if (item.row) return this.setKind(NO_CALL_HEARD);
    this.state.change([{ id: item.id, label: null }], 'removed a call');
    this.say('Removed.');
    this.moved();
  }

  /** Takes the person's word on a call of the table back. */
  clear(): void {
    const item = this.state.selected;
    if (!item?.label || !item.row) return this.say('There is no answer to take back.');
    this.state.change([{ id: item.id, label: null }], 'answer taken back');
    this.say('As the table has it again.');
    this.moved();
  }

  /** Confirms every call in view that nobody has judged. */
  confirmView(): void {
    const { state, view } = this;
    const [first, end] = state.findRange(view.startSec, view.endSec);
    const open = state.items.slice(first, end).filter((i) => i.status === 'unheard' && i.onsetSec >= view.startSec && i.offsetSec <= view.endSec);
    if (!open.length) return this.say('No unheard call lies wholly in view.');
    state.change(open.map((i) => ({ id: i.id, label: { bird: i.bird, onsetSec: i.onsetSec, offsetSec: i.offsetSec, kind: 'call', track: i.row?.track ?? '', note: '' } })), `confirmed ${open.length} calls`);
    this.say(`Confirmed ${open.length} calls.`);
    this.moved();
  }

  undo(): void {
    const step = this.state.undo();
    this.say(!step ? 'Nothing to undo.' : `${step.isDone ? 'Undone' : 'Not undone'}: ${step.says}.`);
    this.moved();
  }

  redo(): void {
    const step = this.state.redo();
    this.say(!step ? 'Nothing to redo.' : `${step.isDone ? 'Done again' : 'Not done again'}: ${step.says}.`);
    this.moved();
  }

  private async listen(track: number, fromSec: number, toSec: number): Promise<void> {
    const { durationSec } = this.state.source.info;
    try {
      await this.player.play(track, Math.max(0, fromSec), Math.min(durationSec, toSec));
    } catch (error) {
      this.say(`Cannot be played: ${(error as Error).message}`);
    }
  }

  private judge(part: (item: Item) => Partial<Label>, says: (item: Item) => string): void {
    const item = this.state.selected;
    if (!item) return this.say('No call is selected.');
    this.state.edit(item, part(item), says(item));
    const text = says(item);
    this.say(`${text[0].toUpperCase()}${text.slice(1)}.`);
    this.moved();
    this.answered(this.state.get(item.id) ?? item);
  }
}

export function nameBird(bird: string): string {
  return bird === 'none' ? 'no tag' : bird;
}
