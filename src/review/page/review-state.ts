import type { CallRow } from '../../schema/rows.js';
import { scoreVerified } from '../../score/score-verified.js';
import type { VerifiedScore } from '../../score/score-verified.js';
import { applyChanges, fillSample, idOfCall, isRealCall } from '../labels.js';
import type { Label, LabelChange, LabelEntry } from '../labels.js';
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

type Listener = (what: 'items' | 'selection' | 'saving') => void;
interface Step { undo: LabelChange[]; redo: LabelChange[]; says: string }

/** Calls, corrections, what is selected, and the way back. */
export class ReviewState {
  /** In order of onset. */
  items: Item[] = [];
  selected?: Item;
  /** Track that keys act on. */
  track = 0;
  /** Changes on their way to the disk. */
  pending = 0;
  failure?: string;
  isLinked = true;
  readonly window = `w${Math.random().toString(36).slice(2, 10)}`;
  longestSec = 0;
  /** Counts changes of the items. */
  revision = 0;
  readonly labels = new Map<string, Label>();
  private readonly byId = new Map<string, Item>();
  private readonly trackOf: Map<string, number>;
  private readonly done: Step[] = [];
  private readonly undone: Step[] = [];
  private readonly listeners = new Set<Listener>();

  constructor(readonly source: ReviewSource) {
    this.trackOf = new Map(source.info.tracks.map((t, j) => [t.bird, j]));
    for (const entry of source.entries) applyChanges(this.labels, entry.changes);
    this.build();
    source.listen((entry) => this.take(entry), (isUp) => { this.isLinked = isUp; this.tell('saving'); });
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
    this.done.push({ undo, redo: changes, says });
    this.undone.length = 0;
    this.commit(changes);
  }

  /** Changes one item's label, starting from what it is. */
  edit(item: Item, part: Partial<Label>, says: string): void {
    const { bird, onsetSec, offsetSec } = item;
    this.change([{ id: item.id, label: { bird, onsetSec, offsetSec, kind: 'call', track: item.row?.track ?? '', note: '', ...item.label, ...part } }], says);
  }

  /** Takes back the last change of this window; undefined where there is none, or where another window has changed the same since. */
  undo(): string | undefined {
    return this.shift(this.done, this.undone, 'undo', 'redo');
  }

  redo(): string | undefined {
    return this.shift(this.undone, this.done, 'redo', 'undo');
  }

  /** The error rate of the whole table as far as the sample has been heard; undefined before the first answer. */
  estimate(): { score?: VerifiedScore; heard: number; drawn: number } {
    const rows = fillSample(this.source.sample, this.labels);
    const heard = rows.filter((r) => r.bird !== '').length;
    return { heard, drawn: rows.length, ...(heard ? { score: scoreVerified(this.source.calls, rows) } : {}) };
  }

  private shift(from: Step[], to: Step[], take: 'undo' | 'redo', leave: 'undo' | 'redo'): string | undefined {
    const step = from.pop();
    if (!step) return undefined;
    const isOurs = step[leave].every(({ id, label }) => JSON.stringify(this.labels.get(id) ?? null) === JSON.stringify(label));
    if (!isOurs) return 'another window has changed this since';
    to.push(step);
    this.commit(step[take]);
    return step.says;
  }

  private commit(changes: LabelChange[]): void {
    applyChanges(this.labels, changes);
    this.build();
    this.pending++;
    this.tell('items');
    this.source.save(this.window, changes).then(() => { this.failure = undefined; }, (error: Error) => { this.failure = error.message; })
      .finally(() => { this.pending--; this.tell('saving'); });
  }

  private take(entry: LabelEntry): void {
    if (entry.window === this.window) return;
    applyChanges(this.labels, entry.changes);
    this.build();
    this.tell('items');
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
