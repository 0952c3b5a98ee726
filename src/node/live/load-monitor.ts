import { formatSpan } from '../../live/warnings.js';

/** What the run looks like from outside at some moment. */
export interface LoadLook {
  nowMs: number;
  /** Stream time worked on. */
  heardSec: number;
  /** Stream time that has arrived and waits. */
  waitingSec: number;
  isHeldBack: boolean;
}

const EVERY_MS = 5000;
/** Behind by more than a step needs. */
const BEHIND_SEC = 2;
const STALLED_MS = 5000;

/** Says when the work falls behind the recorder and by how much, when it has caught up, and when no sound arrives. */
export class LoadMonitor {
  private last: LoadLook | undefined;
  private isBehind = false;
  private lastArrivalMs: number | undefined;
  private isStalled = false;

  /** Takes a look; gives lines for the person. */
  look(look: LoadLook, hasArrived: boolean): string[] {
    const lines = this.followArrival(look, hasArrived);
    if (this.last && look.nowMs - this.last.nowMs < EVERY_MS) return lines;
    const speed = this.last ? (look.heardSec - this.last.heardSec) / ((look.nowMs - this.last.nowMs) / 1000) : Infinity;
    this.last = look;
    if (look.waitingSec > BEHIND_SEC && speed < 1) {
      this.isBehind = true;
      const held = look.isHeldBack ? '; the sender is being held back, and what it cannot keep is lost there' : '';
      lines.push(`falling behind: ${formatSpan(look.waitingSec)} of sound wait, worked on at ${speed.toFixed(2)} times real time${held}`);
    } else if (this.isBehind && look.waitingSec < BEHIND_SEC / 2) {
      this.isBehind = false;
      lines.push('caught up with the recorder');
    }
    return lines;
  }

  private followArrival(look: LoadLook, hasArrived: boolean): string[] {
    this.lastArrivalMs ??= look.nowMs;
    if (hasArrived || look.waitingSec > BEHIND_SEC) {
      const lines = this.isStalled ? [`sound arrives again after ${formatSpan((look.nowMs - this.lastArrivalMs) / 1000)}`] : [];
      this.lastArrivalMs = look.nowMs;
      this.isStalled = false;
      return lines;
    }
    if (this.isStalled || look.nowMs - this.lastArrivalMs < STALLED_MS) return [];
    this.isStalled = true;
    return [`no sound has arrived for ${formatSpan(STALLED_MS / 1000)}: is the recorder running?`];
  }
}
