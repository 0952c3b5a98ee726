import type { CallRow } from '../../schema/rows.js';
import { scoreVerified } from '../../score/score-verified.js';
import type { VerifiedScore } from '../../score/score-verified.js';
import { fillSample, idOfCall, isRealCall, isSameLabel } from '../labels.js';
import type { Label, LabelChange, LabelEntry, LabelMap } from '../labels.js';
import { splitChanges } from '../split-changes.js';
import { LabelLayers } from './label-layers.js';
import { SaveQueue } from './save-queue.js';
import type { Batch } from './save-queue.js';
import type { ReviewSource } from './source.js';

export type ItemStatus = 'unheard' | 'confirmed' | 'changed' | 'added' | 'rejected';

/** A call as the page shows it: the row of the table, with a person's word over it. */
export interface Item {
  id: string;
  row?: CallRow;
  label?: Label;
  bird: string;
  onsetSec: number;
  offsetSec: number;
  /** Track on which it is drawn; -1 where the study has none for it. */
  track: number;
  probability: number;
  status: ItemStatus;
}

type Listener = (what: 'items' | 'selection' | 'saving' | 'refused') => void;
interface Step { undo: LabelChange[]; redo: LabelChange[]; says: string }
/** What an undo or a redo did, in words, or why it did nothing. */
export interface Shift { isDone: boolean; says: string }

/** Calls, corrections, what is selected, and the way back. */
export class ReviewState {
  /** In order of onset. */
  items: Item[] = [];
  selected?: Item;
  /** Track that keys act on. */
  track = 0;
  /** Why the last answer was taken back; undefined again with the next one. */
  refusal?: string;
  isLinked = true;
  readonly window = `w${Math.random().toString(36).slice(2, 10)}`;
  longestSec = 0;
  /** Counts changes of the items. */
  revision = 0;
  private readonly layers: LabelLayers;
  private readonly queue: SaveQueue;
  private serial = 0;
  private readonly byId = new Map<string, Item>();
  private readonly trackOf: Map<string, number>;
  private readonly done: Step[] = [];
  private readonly undone: Step[] = [];
  private readonly listeners = new Set<Listener>();

  constructor(readonly source: ReviewSource) {
    this.trackOf = new Map(source.info.tracks.map((t, j) => [t.bird, j]));
    this.layers = new LabelLayers(this.window, source.entries);
    this.queue = new SaveQueue((batch) => source.save(this.window, batch), () => this.tell('saving'));
    this.build();
    source.listen((entry) => this.take(entry), (isUp) => this.setLink(isUp));
  }

  get labels(): LabelMap {
    return this.layers.labels;
  }

  /** How many answers are on the disk. */
  get savedCount(): number {
    return this.layers.savedCount;
  }

  /** How many changes are not on the disk yet. */
  get unsaved(): number {
    return this.queue.unsaved;
  }

  /** Why they are not; undefined where nothing has failed. */
  get failure(): string | undefined {
    return this.queue.failure;
  }

  onChange(listener: Listener): void {
    this.listeners.add(listener);
  }

  get(id: string): Item | undefined {
    return this.byId.get(id);
  }

  select(item: Item | undefined): void {
    this.selected = item;
    if (item && item.track >= 0) this.track = item.track;
    this.tell('selection');
  }

  chooseTrack(track: number): void {
    this.track = Math.max(0, Math.min(this.source.info.tracks.length - 1, track));
    this.tell('selection');
  }

  /** Items that overlap [fromSec, toSec), by index: [first, end). */
  findRange(fromSec: number, toSec: number): [number, number] {
    return [this.firstFrom(fromSec - this.longestSec), this.firstFrom(toSec)];
  }

  firstFrom(sec: number): number {
    let low = 0;
    let high = this.items.length;
    while (low < high) {
      const mid = (low + high) >> 1;
      if (this.items[mid].onsetSec < sec) low = mid + 1; else high = mid;
    }
    return low;
  }

  /** Gives a person's word; `says` tells what an undo takes back. */
  change(changes: LabelChange[], says: string): void {
    const undo = changes.map(({ id }) => ({ id, label: this.labels.get(id) ?? null }));
    const step = { undo, redo: changes, says };
    this.done.push(step);
    this.undone.length = 0;
    this.commit(changes, step);
  }

  /** Changes one item's label, starting from what it is. */
  edit(item: Item, part: Partial<Label>, says: string): void {
    const { bird, onsetSec, offsetSec } = item;
    this.change([{ id: item.id, label: { bird, onsetSec, offsetSec, kind: 'call', track: item.row?.track ?? '', note: '', ...item.label, ...part } }], says);
  }

  /** Takes back the last change of this window, unless another window has changed the same since; undefined where there is none. */
  undo(): Shift | undefined {
    return this.shift(this.done, this.undone, 'undo', 'redo');
  }

  redo(): Shift | undefined {
    return this.shift(this.undone, this.done, 'redo', 'undo');
  }

  /** The error rate of the whole table as far as the sample has been heard; undefined before the first answer. */
  estimate(): { score?: VerifiedScore; heard: number; drawn: number } {
    const rows = fillSample(this.source.sample, this.labels);
    const heard = rows.filter((r) => r.bird !== '').length;
    return { heard, drawn: rows.length, ...(heard ? { score: scoreVerified(this.source.calls, rows) } : {}) };
  }

  private shift(from: Step[], to: Step[], take: 'undo' | 'redo', leave: 'undo' | 'redo'): Shift | undefined {
    const step = from.pop();
    if (!step) return undefined;
    const isOurs = step[leave].every(({ id, label }) => isSameLabel(this.labels.get(id), label));
    if (!isOurs) return { isDone: false, says: 'another window has changed this since' };
    to.push(step);
    this.commit(step[take], step);
    return { isDone: true, says: step.says };
  }

  private commit(changes: LabelChange[], step: Step): void {
    this.refusal = undefined;
    for (const piece of splitChanges(changes)) {
      const batch: Batch = { serial: ++this.serial, changes: piece };
      this.layers.add(batch);
      this.queue.push(batch).catch((refusal: Error) => this.takeBack(batch, step, refusal.message));
    }
    this.build();
    this.tell('items');
  }

  /** The server does not want these changes: they are neither shown nor undone any more. */
  private takeBack(batch: Batch, step: Step, why: string): void {
    const ids = new Set(batch.changes.map(({ id }) => id));
    for (const side of ['undo', 'redo'] as const) step[side] = step[side].filter(({ id }) => !ids.has(id));
    for (const steps of [this.done, this.undone]) if (!step.redo.length && steps.includes(step)) steps.splice(steps.indexOf(step), 1);
    this.layers.drop(batch);
    this.refusal = why;
    this.build();
    this.tell('items');
    this.tell('refused');
  }

  private take(entry: LabelEntry): void {
    if (!this.layers.take(entry)) return;
    this.build();
    this.tell('items');
  }

  private setLink(isUp: boolean): void {
    this.isLinked = isUp;
    if (isUp) this.queue.wake();
    this.tell('saving');
  }

  private build(): void {
    const items: Item[] = this.source.calls.map((row) => this.makeItem(idOfCall(row.callId), row));
    for (const [id, label] of this.labels) if (!/^c\d+$/.test(id)) items.push(this.makeItem(id, undefined, label));
    items.sort((a, b) => a.onsetSec - b.onsetSec || (a.id < b.id ? -1 : 1));
    this.byId.clear();
    this.longestSec = 0;
    for (const item of items) {
      this.byId.set(item.id, item);
      this.longestSec = Math.max(this.longestSec, item.offsetSec - item.onsetSec);
    }
    this.items = items;
    this.revision++;
    if (this.selected) this.selected = this.byId.get(this.selected.id);
  }

  private makeItem(id: string, row?: CallRow, label = this.labels.get(id)): Item {
    const { bird, onsetSec, offsetSec } = label ?? row!;
    const isSame = row && label && label.bird === row.bird && Math.abs(label.onsetSec - row.onsetSec) < 1e-6 && Math.abs(label.offsetSec - row.offsetSec) < 1e-6;
    const status = !label ? 'unheard' : !isRealCall(label.kind) ? 'rejected' : !row ? 'added' : isSame ? 'confirmed' : 'changed';
    const track = this.trackOf.get(bird) ?? this.trackOf.get(row?.track ?? '') ?? this.trackOf.get(label?.track ?? '') ?? -1;
    return { id, row, label, bird, onsetSec, offsetSec, track, probability: row?.probability ?? 1, status };
  }

  private tell(what: Parameters<Listener>[0]): void {
    for (const listener of this.listeners) listener(what);
  }
}
