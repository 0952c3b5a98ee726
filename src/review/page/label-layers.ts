import { applyChanges, isSameLabel } from '../labels.js';
import type { Label, LabelChange, LabelEntry, LabelMap } from '../labels.js';
import type { Batch } from './save-queue.js';

/**
 * Labels as the page shows them: what the journal says, and over it the batches of this window that have not come back from the journal yet.
 * Of two windows that answer the same call at once the later in the journal counts, and that is known only when both have come back.
 */
export class LabelLayers {
  private readonly journal = new Map<string, Label>();
  private readonly ahead: Batch[] = [];
  private readonly shown = new Map<string, Label>();

  constructor(private readonly window: string, entries: readonly LabelEntry[]) {
    for (const entry of entries) for (const map of [this.journal, this.shown]) applyChanges(map, entry.changes);
  }

  get labels(): LabelMap {
    return this.shown;
  }

  /** How many answers are on the disk. */
  get savedCount(): number {
    const ahead = new Map(this.ahead.filter((b) => b.isSaved).flatMap((b) => b.changes.map(({ id, label }) => [id, label !== null])));
    let count = this.journal.size;
    for (const [id, isThere] of ahead) count += Number(isThere) - Number(this.journal.has(id));
    return count;
  }

  add(batch: Batch): void {
    this.ahead.push(batch);
    applyChanges(this.shown, batch.changes);
  }

  /** Takes what the journal tells, of this window or another; true where that changes what is shown. */
  take(entry: LabelEntry): boolean {
    applyChanges(this.journal, entry.changes);
    if (entry.window === this.window) this.forget((b) => b.serial === entry.serial);
    return this.refresh(entry.changes);
  }

  /** Takes back a batch that will never be in the journal. */
  drop(batch: Batch): void {
    this.forget((b) => b === batch);
    this.refresh(batch.changes);
  }

  private forget(isIt: (batch: Batch) => boolean): void {
    const at = this.ahead.findIndex(isIt);
    if (at >= 0) this.ahead.splice(at, 1);
  }

  private refresh(changes: readonly LabelChange[]): boolean {
    const ahead = new Map(this.ahead.flatMap((b) => b.changes.map(({ id, label }) => [id, label])));
    const differing = changes.map(({ id }) => ({ id, label: (ahead.has(id) ? ahead.get(id) : this.journal.get(id)) ?? null })).filter(({ id, label }) => !isSameLabel(this.shown.get(id), label));
    applyChanges(this.shown, differing);
    return differing.length > 0;
  }
}
