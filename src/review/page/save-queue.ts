import type { LabelChange } from '../labels.js';

/** Changes of this window that are saved together. */
export interface Batch {
  /** Counts the batches of the window: a batch that is sent twice is known by it. */
  serial: number;
  changes: LabelChange[];
  /** On the disk. */
  isSaved?: boolean;
}

/** The changes will never be taken: to send them again would not help. */
export class Refusal extends Error {}

interface Waiting { batch: Batch; done: () => void; refuse: (refusal: Refusal) => void }

const FIRST_PAUSE_MS = 1000;
const LONGEST_PAUSE_MS = 30_000;

/** Saves batches one at a time in the order in which they were given. What fails is held and tried again before anything later, so that no answer reaches the disk without those before it. */
export class SaveQueue {
  /** Why the first of the waiting batches is not saved; undefined once nothing waits. */
  failure?: string;
  private readonly waiting: Waiting[] = [];
  private isSending = false;
  private pauseMs = FIRST_PAUSE_MS;
  private timer?: ReturnType<typeof setTimeout>;

  constructor(private readonly save: (batch: Batch) => Promise<void>, private readonly onChange: () => void) {}

  /** How many changes are not on the disk. */
  get unsaved(): number {
    return this.waiting.reduce((sum, w) => sum + w.batch.changes.length, 0);
  }

  /** Resolves when the batch is on the disk, however long that takes; rejects with a Refusal where it will never be. */
  push(batch: Batch): Promise<void> {
    const saved = new Promise<void>((done, refuse) => { this.waiting.push({ batch, done, refuse }); });
    this.wake();
    return saved;
  }

  /** Tries at once, without waiting for the end of a pause. */
  wake(): void {
    clearTimeout(this.timer);
    if (!this.isSending) void this.send();
  }

  private async send(): Promise<void> {
    this.isSending = true;
    while (this.waiting.length && await this.sendFirst()) this.pauseMs = FIRST_PAUSE_MS;
    this.isSending = false;
    if (!this.waiting.length) return;
    this.timer = setTimeout(() => this.wake(), this.pauseMs);
    this.pauseMs = Math.min(LONGEST_PAUSE_MS, 2 * this.pauseMs);
  }

  /** False where it is to be tried again later. */
  private async sendFirst(): Promise<boolean> {
    const { batch, done, refuse } = this.waiting[0];
    try {
      await this.save(batch);
      batch.isSaved = true;
      this.settleFirst();
      done();
    } catch (error) {
      if (error instanceof Refusal) {
        this.settleFirst();
        refuse(error);
      } else {
        this.failure = (error as Error).message;
        this.onChange();
        return false;
      }
    }
    this.onChange();
    return true;
  }

  private settleFirst(): void {
    this.waiting.shift();
    if (!this.waiting.length) this.failure = undefined;
  }
}
